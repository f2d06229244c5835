// What is typed outlives a dropped connection, a closed page and an empty battery: it is kept on this device until it
// was sent. Each form carries a mark, so that sending it twice writes it once.
"use strict";
(() => {
  const KEPT_MS = 7 * 86400e3;
  const WAIT_MS = 4000;
  let store;
  try {
    store = window.localStorage;
    store.setItem("draft-try", "1");
    store.removeItem("draft-try");
  } catch {
    return; // a private window may keep nothing; the pages work without
  }
  // A draft is of whoever typed it: nobody else who signs in on this device sees it, and it goes when they sign out.
  const named = document.documentElement.dataset.whose;
  const whose = named ?? store.getItem("drafts-of") ?? "";
  if (named !== undefined) store.setItem("drafts-of", named);
  const mine = `draft|${whose}|`;
  const keys = () => Array.from({ length: store.length }, (_, i) => store.key(i)).filter((k) => k.startsWith("draft|"));
  // fields may be called method or action, so these are read as attributes
  const ours = (form) => form.getAttribute("method") === "post" && form.matches(".entry-form")
    && !form.querySelector("[type=password]") && !form.closest(".narrow.stock")
    && !/^\/(watch|calendar|people|me|share)\//.test(form.getAttribute("action")); // what is half typed there is of the moment
  const said = (form, name) => form.elements[name]?.value ?? "";
  const keyOf = (form) => ["draft", whose, new URL(form.getAttribute("action"), location.href).pathname, ...["form", "kind", "key", "system",
    "quantity", "animal", "entry"].filter((n) => form.elements[n]?.type === "hidden").map((n) => said(form, n))].join("|");
  const fields = (form) => [...form.elements].filter((e) => e.name && !["button", "submit", "file", "password"]
    .includes(e.type) && (e.type !== "hidden" || e.name === "token"));
  const read = (key) => {
    try {
      const found = JSON.parse(store.getItem(key) || "null");
      return found && Date.now() - found.at < KEPT_MS ? found : null;
    } catch {
      return null;
    }
  };
  const keep = (form) => {
    if (!fields(form).some((e) => e.type !== "hidden" && e.matches("input:not([type=radio], [type=checkbox]), textarea")
      && e.value.trim() !== e.defaultValue.trim())) return; // nothing of its own is typed in it
    const values = fields(form).map((e) => [e.name, ["radio", "checkbox"].includes(e.type) ? e.checked : e.value, e.value]);
    try {
      store.setItem(keyOf(form), JSON.stringify({ at: Date.now(), values, where: location.pathname + location.search }));
    } catch { /* a full store must not stop the typing */ }
  };
  const forget = (form) => store.removeItem(keyOf(form));
  const line = (form, words, buttons = []) => {
    let p = form.querySelector(".draft");
    if (!p) {
      p = document.createElement("p");
      p.className = "draft";
      p.setAttribute("role", "status");
      form.prepend(p);
    }
    p.textContent = `${words} `;
    for (const [label, act] of buttons) {
      const b = document.createElement("button");
      b.type = "button";
      b.textContent = label;
      b.addEventListener("click", act);
      p.append(b);
    }
    return p;
  };
  const restore = (form) => {
    const found = read(keyOf(form));
    if (!found || form.querySelector("[aria-invalid=true], .error:not([hidden])")) return;
    for (const [name, value, own] of found.values) {
      for (const e of fields(form).filter((x) => x.name === name && x.type !== "hidden")) {
        if (["radio", "checkbox"].includes(e.type)) {
          if (e.value === own) e.checked = value;
        } else e.value = value;
      }
    }
    const mark = found.values.find(([name]) => name === "token"); // its answer may have got lost: the same mark writes once
    if (mark && form.elements.token) form.elements.token.value = mark[1];
    const box = form.closest("details");
    if (box) box.open = true;
    const own = form.elements.token?.defaultValue;
    const p = line(form, "Not sent yet: what you typed here before.", [["Forget it", () => {
      forget(form);
      if (own && form.elements.token) form.elements.token.value = own;
      form.reset();
      p.remove();
    }]]);
  };
  for (const key of keys()) if (!read(key)) store.removeItem(key); // too old
  const answers = async () => {
    const stop = new AbortController();
    const late = setTimeout(() => stop.abort(), WAIT_MS);
    try {
      await fetch("/health", { cache: "no-store", signal: stop.signal });
      return true;
    } catch {
      return false;
    } finally {
      clearTimeout(late);
    }
  };
  // what was sent from the page before is done with when this page says what became of it
  const sent = sessionStorage.getItem("draft-sent");
  if (sent && document.querySelector(".flash") && !document.querySelector("form .error:not([hidden])")) {
    store.removeItem(sent);
  }
  sessionStorage.removeItem("draft-sent");
  for (const form of document.forms) if (ours(form)) restore(form);
  for (const kind of ["input", "change"]) {
    document.addEventListener(kind, (event) => {
      const form = event.target.form;
      if (form && ours(form)) keep(form);
    });
  }
  document.addEventListener("click", (event) => {
    const step = event.target.closest("[data-step]");
    if (step?.form && ours(step.form)) queueMicrotask(() => keep(step.form));
  });
  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (form.getAttribute("action") === "/sign-out") {
      for (const key of keys()) if (key.startsWith(mine)) store.removeItem(key);
      store.removeItem("drafts-of");
      sessionStorage.removeItem("draft-sent");
      return;
    }
    if (!ours(form) || (form.hasAttribute("hx-post") && !form.closest("[hx-disable]")) || event.submitter?.formMethod === "get") return;
    event.preventDefault();
    keep(form);
    const by = event.submitter;
    if (by) by.disabled = true;
    if (await answers()) {
      sessionStorage.setItem("draft-sent", keyOf(form));
      if (by?.name) {
        const more = document.createElement("input");
        more.type = "hidden";
        more.name = by.name;
        more.value = by.value;
        form.append(more);
      }
      form.submit();
      return;
    }
    if (by) by.disabled = false;
    const p = line(form, "Not sent: nobody answers. It is kept on this device.");
    p.classList.add("error");
    p.scrollIntoView({ block: "nearest" });
    const again = async () => {
      if (!p.isConnected) return;
      if (await answers()) line(form, "The connection is back.", [["Send it now", () => form.requestSubmit(by)]]);
      else setTimeout(again, WAIT_MS);
    };
    setTimeout(again, WAIT_MS);
  });
  document.addEventListener("htmx:beforeOnLoad", (event) => { // before the swap takes the form away
    const form = event.detail.elt.closest?.("form");
    if (form && ours(form) && event.detail.xhr.status < 300) forget(form);
  });
  document.addEventListener("htmx:afterSettle", () => {
    for (const form of document.forms) if (ours(form) && !form.querySelector(".draft")) restore(form);
  });
  const list = document.getElementById("drafts"); // the page without a connection names what waits
  if (list) {
    for (const key of keys()) {
      const found = key.startsWith(mine) ? read(key) : null;
      if (!found) continue;
      const item = document.createElement("li");
      const link = document.createElement("a");
      link.href = found.where;
      link.textContent = found.values.filter(([n, v]) => ["value", "subject", "unit", "note"].includes(n) && v)
        .map(([, v]) => v).join(" ") || key.split("|").slice(2).join(" ");
      item.append(link);
      list.append(item);
    }
    if (list.children.length) list.parentElement.hidden = false;
  }
  if (navigator.serviceWorker) navigator.serviceWorker.register("/sw.js").catch(() => {});
})();
