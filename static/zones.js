// A file too large is told before it is sent: the server would only break the connection off in the middle of it.
"use strict";
document.querySelectorAll("input[type=file][data-most]").forEach(function (field) {
  const most = Number(field.dataset.most);
  const told = document.createElement("p");
  told.className = "error";
  told.setAttribute("role", "alert");
  function wrong() {
    const file = field.files[0];
    const large = file && file.size > most;
    if (large) {
      const size = Math.round(file.size / 1000000), least = Math.round(most / 1000000);
      told.textContent = inWords("{file} has {size} MB, and at most {least} MB are taken: export a shorter time from the logger, in parts.", { file: file.name, size, least });
      field.after(told);
    } else {
      told.remove();
    }
    return large;
  }
  field.addEventListener("change", wrong);
  field.form.addEventListener("submit", function (event) {
    if (wrong()) event.preventDefault();
  });
});
