// Where does one more line come from? A list with data-grows has always one to spare below those that are filled.

const MOST = 60; // lines of a formula
const boxes = "[type=checkbox], [type=radio]";
const isFilled = (line) => [...line.querySelectorAll("[name]")].some((field) => !field.matches(boxes) && field.value);
const lists = (form) => form.querySelectorAll("[data-grows]");

function add(list) {
  const place = list.children.length;
  const line = list.lastElementChild.cloneNode(true);
  for (const field of line.querySelectorAll("[name]")) {
    field.name = field.name.replace(/\d+$/, place + 1);
    if (field.matches(boxes)) field.checked = false;
    else field.value = "";
  }
  for (const words of line.querySelectorAll(".unseen")) words.textContent = words.textContent.replace(/\d+/, place + 1);
  list.append(line);
}

export function spare(form) {
  for (const list of lists(form)) if (list.children.length < MOST && isFilled(list.lastElementChild)) add(list);
}

// Lines that were there when this was typed are there again before it is put back.
export function growFor(form, pairs) {
  for (const list of lists(form)) {
    const has = (name) => [...list.querySelectorAll("[name]")].some((field) => field.name === name);
    const wanted = pairs.map(([name]) => Number(/^(?:ingredient|percent|flour):(\d+)$/.exec(name)?.[1] ?? 0));
    const most = Math.min(MOST, Math.max(0, ...wanted));
    while (list.children.length < most && !has(`ingredient:${most}`)) add(list);
  }
}
