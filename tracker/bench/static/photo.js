// Is the photo that was taken the one that is meant? It is shown before it is sent, and one that is too large
// is said at once: it would be carried through a slow Wi-Fi for nothing. The queue and the drafts hold it like
// everything else that is entered; the bench makes it smaller.

const form = document.querySelector("form[data-most-bytes]");
const field = form?.querySelector("input[type=file]");
const preview = form?.querySelector(".preview");

function chosen() {
  const [file] = field.files;
  const most = Number(form.dataset.mostBytes);
  const large = file && file.size > most;
  field.setCustomValidity(large ? `This file has ${Math.ceil(file.size / 1e6)} MB; at most ${Math.floor(most / 1e6)} MB are taken. Choose a smaller size in the settings of the camera.` : "");
  if (large) field.reportValidity();
  if (preview.src) URL.revokeObjectURL(preview.src);
  preview.hidden = !file || large;
  if (!preview.hidden) preview.src = URL.createObjectURL(file);
}

if (field) {
  for (const event of ["change", "filled"]) field.addEventListener(event, chosen);
  preview.addEventListener("error", () => (preview.hidden = true)); // no picture: the bench says so in words
  if (field.files.length) chosen();
}
