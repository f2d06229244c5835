// The device's own time zone, chosen in advance where nothing else was.
"use strict";
(() => {
  const list = document.querySelector("select[data-own]");
  const own = Intl.DateTimeFormat().resolvedOptions().timeZone;
  if (list && [...list.options].some((o) => o.value === own)) list.value = own;
  document.querySelector("[aria-invalid]")?.focus();
})();
