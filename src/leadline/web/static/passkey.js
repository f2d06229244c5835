// Passkeys: the browser speaks with the device's own lock. Without them, and without script, passphrases serve.
"use strict";
(() => {
  const able = window.isSecureContext && window.PublicKeyCredential
    && typeof PublicKeyCredential.parseCreationOptionsFromJSON === "function";
  for (const p of document.querySelectorAll(".show")) p.hidden = false;
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-show]");
    if (!button) return;
    const field = document.getElementById(button.dataset.show);
    const shown = field.type === "password";
    field.type = shown ? "text" : "password";
    button.setAttribute("aria-pressed", String(shown));
    button.textContent = shown ? "Hide it" : "Show it";
  });
  if (!able) return;
  for (const note of document.querySelectorAll(".passkey-no")) note.hidden = true;
  const send = async (address, body) => {
    const answer = await fetch(address, {
      method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body),
    });
    const said = await answer.json();
    if (!answer.ok) throw new Error(said.words || "That did not work.");
    return said;
  };
  for (const form of document.querySelectorAll("form.passkey")) {
    form.hidden = false;
    const line = form.querySelector(".error");
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      line.hidden = true;
      const what = form.dataset.passkey;
      const name = form.dataset.name ? document.getElementById(form.dataset.name)?.value || "" : "";
      const said = { secret: form.dataset.secret || "", name, to: form.dataset.to || "/" };
      try {
        const options = await send(`/passkey/${what}/begin`, said);
        const credential = what === "in"
          ? await navigator.credentials.get({ publicKey: PublicKeyCredential.parseRequestOptionsFromJSON(options) })
          : await navigator.credentials.create({ publicKey: PublicKeyCredential.parseCreationOptionsFromJSON(options) });
        const done = await send(`/passkey/${what}/done`, { ...said, credential: credential.toJSON() });
        location.assign(done.to);
      } catch (error) {
        line.textContent = error.name === "NotAllowedError" ? "The device did not confirm it." : error.message;
        line.hidden = false;
      }
    });
  }
})();
