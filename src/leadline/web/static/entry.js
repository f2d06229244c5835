// A file that is too large is said before it is sent: the form waits, and nothing that was typed is lost.
"use strict";
document.addEventListener("change", (event) => {
  const field = event.target;
  if (!field.matches("input[type=file][data-most]")) return;
  const file = field.files[0];
  const most = Number(field.dataset.most);
  const wrong = file && file.size > most
    ? `${file.name} has ${(file.size / 1e6).toFixed(1)} MB, more than ${most / 1e6} MB. Save it smaller, or choose another.`
    : "";
  field.setCustomValidity(wrong);
  let line = field.parentElement.querySelector(".error");
  if (!line) {
    line = document.createElement("span");
    line.className = "error";
    line.setAttribute("role", "alert");
    field.parentElement.append(line);
  }
  line.textContent = wrong;
  line.hidden = !wrong;
});
