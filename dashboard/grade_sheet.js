// The grading sheet: one row of pictures a sign, a fold for what else was seen, and a bar with the button to save.
// In: data = {token, signs: [{name, label, hint, pictures: [svg]}], grades: [word], words: {...}, frames: [[value, word]]}.
// Out: the trigger "saved" with the values as text. Nothing is told to the server before the button is pressed.
const state = {};

function made(kind, attributes, ...children) {
  const node = document.createElement(kind);
  for (const [name, value] of Object.entries(attributes)) {
    if (name in node && name !== "list") node[name] = value;
    else node.setAttribute(name, value);
  }
  node.append(...children);
  return node;
}

function picture(svg) {
  return made("img", { src: "data:image/svg+xml;utf8," + encodeURIComponent(svg), alt: "" });
}

function signRow(sign, data, kept, changed) {
  const row = made("fieldset", {}, made("legend", {}, sign.label), made("p", { className: "hint" }, sign.hint));
  const tiles = made("div", { className: "tiles" });
  sign.pictures.forEach((svg, grade) => {
    const box = made("input", { type: "radio", name: sign.name, value: String(grade) });
    box.checked = kept[sign.name] === String(grade);
    box.addEventListener("click", () => {
      if (kept[sign.name] === box.value) {
        delete kept[sign.name];
        box.checked = false;
      } else {
        kept[sign.name] = box.value;
      }
      changed();
    });
    tiles.append(made("label", { className: "tile" }, box, picture(svg), made("span", {}, data.grades[grade])));
  });
  row.append(tiles);
  return row;
}

function typed(name, label, kept, attributes) {
  const box = made("input", { type: "text", name, value: kept[name] || "", autocomplete: "off", ...attributes });
  box.addEventListener("input", () => {
    if (box.value.trim()) kept[name] = box.value.trim();
    else delete kept[name];
  });
  return made("label", { className: "typed" }, made("span", {}, label), box);
}

function fold(data, kept) {
  const choice = made("select", { name: "frame" });
  for (const [value, word] of data.frames) choice.append(made("option", { value }, word));
  choice.value = kept.frame || "";
  choice.addEventListener("change", () => {
    if (choice.value) kept.frame = choice.value;
    else delete kept.frame;
  });
  return made("details", { open: Boolean(kept.pitch_hz || kept.note || kept.grommets || kept.frame) },
    made("summary", {}, data.words.fold),
    typed("pitch_hz", data.words.pitch, kept, { inputMode: "decimal" }),
    made("label", { className: "typed" }, made("span", {}, data.words.frame), choice),
    typed("grommets", data.words.grommets, kept, {}),
    typed("note", data.words.note, kept, {}));
}

export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const root = parentElement.querySelector("#sheet");
  if (root.dataset.token === data.token) return;
  root.dataset.token = data.token;
  for (const token of Object.keys(state)) if (token !== data.token) delete state[token];
  const kept = (state[data.token] = state[data.token] || { ...data.kept });
  const save = made("button", { type: "button", className: "first" }, data.words.save);
  const count = made("span", { className: "count", role: "status" });
  const signs = data.signs.map((sign) => sign.name);
  const changed = () => {
    const graded = signs.filter((name) => name in kept).length;
    count.textContent = data.words.graded.replace("{graded}", graded).replace("{all}", signs.length);
  };
  const none = made("button", { type: "button" }, data.words.none);
  none.addEventListener("click", () => {
    for (const name of signs) kept[name] = "0";
    root.querySelectorAll("input[type=radio]").forEach((box) => { box.checked = box.value === "0"; });
    changed();
  });
  const broken = made("input", { type: "checkbox", name: "broken", checked: kept.broken === "yes" });
  broken.addEventListener("change", () => {
    if (broken.checked) kept.broken = "yes";
    else delete kept.broken;
  });
  save.addEventListener("click", () => setTriggerValue("saved", { token: data.token, values: { ...kept } }));
  root.replaceChildren(
    made("div", { className: "signs" }, ...data.signs.map((sign) => signRow(sign, data, kept, changed))),
    made("label", { className: "tick" }, broken, made("span", {}, data.words.broken)),
    fold(data, kept),
    made("div", { className: "bar" }, none, save, count),
  );
  changed();
}
