// Four handles on a picture: dragged with a finger or the mouse, moved with the arrow keys, with a closer look.
// Points are (x, y) pixels of the full picture, pixel centres at integers.
export default function ({ data, parentElement, setStateValue }) {
  const root = parentElement.querySelector(".corners");
  if (root.dataset.picture === data.key) return;
  root.dataset.picture = data.key;
  root.replaceChildren();
  const points = data.corners.map((point) => [...point]);
  const frame = make("div", "frame");
  const stage = make("div", "stage");
  const picture = make("img", "picture");
  picture.src = data.src;
  picture.alt = data.alt;
  picture.draggable = false;
  const lines = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  lines.setAttribute("viewBox", `0 0 ${data.width} ${data.height}`);
  lines.setAttribute("aria-hidden", "true");
  const outlines = ["under", "over"].map((name) => {
    const shape = document.createElementNS("http://www.w3.org/2000/svg", "polygon");
    shape.setAttribute("class", name);
    lines.append(shape);
    return shape;
  });
  const lens = make("div", "lens");
  lens.style.backgroundImage = `url(${data.src})`;
  stage.append(picture, lines);
  const handles = data.words.map((words, index) => {
    const handle = make("button", "handle");
    handle.type = "button";
    handle.dataset.number = String(index + 1);
    handle.addEventListener("pointerdown", (event) => {
      handle.setPointerCapture(event.pointerId);
      handle.focus();
      event.preventDefault();
    });
    handle.addEventListener("pointermove", (event) => {
      if (!handle.hasPointerCapture(event.pointerId)) return;
      const box = picture.getBoundingClientRect();
      // The finger lies beside the ring's middle, below it, so that the corner itself stays in sight.
      const lift = event.pointerType === "touch" ? 34 : 0;
      move(index, ((event.clientX - box.left) / box.width) * data.width - 0.5,
        ((event.clientY - lift - box.top) / box.height) * data.height - 0.5);
    });
    handle.addEventListener("pointerup", tell);
    handle.addEventListener("focus", () => look(index));
    handle.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
      if (!step) return;
      event.preventDefault();
      const size = event.shiftKey ? 20 : 2;
      move(index, points[index][0] + size * step[0], points[index][1] + size * step[1]);
    });
    handle.addEventListener("keyup", (event) => event.key.startsWith("Arrow") && tell());
    stage.append(handle);
    return handle;
  });
  frame.append(stage, lens);
  const nearer = make("button", "nearer");
  nearer.type = "button";
  let near = false;
  nearer.addEventListener("click", () => show(!near));
  root.append(frame, nearer);
  picture.addEventListener("load", () => {
    show(data.near);
    const panel = root.getRootNode().host?.closest(".st-key-_correction") ?? root;
    panel.scrollIntoView({ block: "start" });
  });
  draw();
  look(0);
  show(false);

  function make(tag, name) {
    const element = document.createElement(tag);
    element.className = name;
    return element;
  }
  // The whole picture, or the part around the corners with room on every side.
  function show(closer) {
    near = closer;
    const xs = points.map((point) => point[0]);
    const ys = points.map((point) => point[1]);
    const spread = Math.max(Math.max(...xs) - Math.min(...xs), ((Math.max(...ys) - Math.min(...ys)) * data.width) / data.height);
    const zoom = near ? Math.min(8, Math.max(1, data.width / (1.8 * spread + 40))) : 1;
    const at = (values, size) => (Math.min(...values) + Math.max(...values)) / 2 / size;
    const shift = (middle) => 100 * Math.min(0, Math.max(1 - zoom, 0.5 - zoom * middle));
    stage.style.width = `${100 * zoom}%`;
    stage.style.marginLeft = `${shift(at(xs, data.width))}%`;
    stage.style.marginTop = `${(shift(at(ys, data.height)) * data.height) / data.width}%`;
    frame.style.aspectRatio = `${data.width} / ${data.height}`;
    nearer.textContent = near ? "Show the whole picture" : "Show the neck larger";
  }
  function tell() {
    setStateValue("corners", points.map(([x, y]) => [Math.round(x * 10) / 10, Math.round(y * 10) / 10]));
  }
  function move(index, x, y) {
    points[index] = [Math.min(Math.max(x, 0), data.width - 1), Math.min(Math.max(y, 0), data.height - 1)];
    draw();
    look(index);
  }
  function draw() {
    const joined = points.map(([x, y]) => `${x + 0.5},${y + 0.5}`).join(" ");
    outlines.forEach((shape) => shape.setAttribute("points", joined));
    handles.forEach((handle, index) => {
      const [x, y] = points[index];
      handle.style.left = `${(100 * (x + 0.5)) / data.width}%`;
      handle.style.top = `${(100 * (y + 0.5)) / data.height}%`;
      handle.setAttribute("aria-label",
        `${index + 1}: ${data.words[index]}, ${Math.round(x)} across, ${Math.round(y)} down; arrow keys move it`);
    });
  }
  function look(index) {
    const [x, y] = points[index];
    const zoom = 3;
    const shown = frame.clientWidth || 600;
    const scale = Math.max((shown / data.width) * zoom, (1.5 * (picture.clientWidth || shown)) / data.width);
    const side = 120;
    lens.style.backgroundSize = `${data.width * scale}px ${data.height * scale}px`;
    lens.style.backgroundPosition = `${side / 2 - (x + 0.5) * scale}px ${side / 2 - (y + 0.5) * scale}px`;
    // The closer look moves out of the way of the corner it shows.
    const box = frame.getBoundingClientRect();
    const spot = picture.getBoundingClientRect().left + ((x + 0.5) / data.width) * picture.clientWidth - box.left;
    lens.style.left = spot > box.width / 2 ? "6px" : "";
    lens.style.right = spot > box.width / 2 ? "" : "6px";
  }
}
