"use strict";
const said = JSON.parse(document.getElementById("said").textContent);
const fill = (words, ...values) => values.reduce((text, value, index) => text.replace(`{${index}}`, value), words);

/* The walk: one step at a time, by buttons and arrow keys. */
document.querySelectorAll(".walk").forEach((walk) => {
  const steps = [...walk.querySelectorAll(":scope > ol > li")];
  const output = walk.querySelector("output");
  const buttons = [...walk.querySelectorAll("[data-go]")];
  const heard = walk.querySelector(".heard"); /* a screen reader hears which step it is, and what is covered and open */
  let now = 0;
  const show = (to) => {
    now = Math.max(0, Math.min(steps.length - 1, to));
    steps.forEach((step, index) => { step.hidden = index !== now; });
    output.textContent = fill(said.step, now + 1, steps.length);
    const [title, state] = ["h3", "figcaption"].map((name) => steps[now].querySelector(name).textContent);
    heard.textContent = `${output.textContent}. ${title}. ${state}`;
    buttons.forEach((button) => {
      const there = now + Number(button.dataset.go);
      button.setAttribute("aria-disabled", String(there < 0 || there >= steps.length));
    });
  };
  walk.classList.add("live");
  buttons.forEach((button) => button.addEventListener("click", () => show(now + Number(button.dataset.go))));
  walk.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) { return; }
    const go = { ArrowLeft: now - 1, ArrowRight: now + 1, Home: 0, End: steps.length - 1 }[event.key];
    if (go !== undefined) { event.preventDefault(); show(go); }
  });
  show(0);
});

/* Drawings to look at closely: zoom, move, measure; by pointer and by keys. */
const SVG = "http://www.w3.org/2000/svg";
const drawn = (parent, name, attributes) => {
  const element = document.createElementNS(SVG, name);
  Object.entries(attributes).forEach(([key, value]) => element.setAttribute(key, value));
  parent.append(element);
  return element;
};
const lookers = new Map();
document.querySelectorAll("figure.look").forEach((look) => {
  const pane = look.querySelector(".pane"), svg = pane.querySelector("svg");
  const home = svg.viewBox.baseVal;
  const whole = { x: home.x, y: home.y, w: home.width, h: home.height };
  let view = { ...whole }, from = null, drag = null, moved = false, cross = null;

  pane.tabIndex = 0;
  pane.setAttribute("role", "group");
  pane.setAttribute("aria-label", `${svg.getAttribute("aria-label")}: ${said.drawing}`);
  const tools = document.createElement("div");
  tools.className = "tools";
  const button = (text, label, act) => {
    const made = document.createElement("button");
    made.type = "button"; made.textContent = text;
    if (label) { made.setAttribute("aria-label", label); }
    made.addEventListener("click", act);
    tools.append(made);
  };
  const output = document.createElement("output");
  output.setAttribute("aria-live", "polite");
  const steady = { "vector-effect": "non-scaling-stroke", fill: "none", visibility: "hidden" };
  const under = drawn(svg, "line", { ...steady, stroke: "#fff", "stroke-width": 5 });
  const mark = drawn(svg, "line", { ...steady, stroke: "#b3001b", "stroke-width": 2.5 });
  const aim = drawn(svg, "path", { ...steady, stroke: "#b3001b", "stroke-width": 2 });

  const draw = () => {
    svg.setAttribute("viewBox", `${view.x} ${view.y} ${view.w} ${view.h}`);
    look.classList.toggle("closer", view.w < whole.w * 0.999);
    if (cross) {
      const arm = view.w / 40;
      aim.setAttribute("d", `M${cross.x - arm} ${cross.y}h${2 * arm}M${cross.x} ${cross.y - arm}v${2 * arm}`);
      aim.setAttribute("visibility", "visible");
    }
  };
  const middle = () => cross || { x: view.x + view.w / 2, y: view.y + view.h / 2 };
  const zoom = (factor, about) => {
    const next = Math.min(whole.w, Math.max(whole.w / 400, view.w * factor)), f = next / view.w;
    view = { x: about.x - (about.x - view.x) * f, y: about.y - (about.y - view.y) * f, w: view.w * f, h: view.h * f };
    draw();
  };
  const reset = () => { view = { ...whole }; draw(); };
  const line = (a, b) => [under, mark].forEach((each) => {
    Object.entries({ x1: a.x, y1: a.y, x2: b.x, y2: b.y, visibility: "visible" })
      .forEach(([key, value]) => each.setAttribute(key, value));
  });
  const point = (here) => {
    if (from === null) {
      from = here; line(here, here);
      output.textContent = fill(said.second, here.x.toFixed(2), here.y.toFixed(2));
      return;
    }
    const dx = here.x - from.x, dy = here.y - from.y;
    line(from, here);
    output.textContent = fill(said.measured, Math.hypot(dx, dy).toFixed(2), Math.abs(dx).toFixed(2), Math.abs(dy).toFixed(2));
    from = null;
  };
  const steer = (dx, dy) => {
    cross = cross || middle();
    cross = { x: cross.x + dx, y: cross.y + dy };
    view.x = Math.min(Math.max(view.x, cross.x - view.w * 0.95), cross.x - view.w * 0.05);
    view.y = Math.min(Math.max(view.y, cross.y - view.h * 0.95), cross.y - view.h * 0.05);
    draw();
    output.textContent = fill(said.at, cross.x.toFixed(2), cross.y.toFixed(2));
  };
  button("+", said.closer, () => zoom(0.6, middle()));
  button("\u2212", said.further, () => zoom(1 / 0.6, middle()));
  button(said.whole, "", reset);
  tools.append(output);
  pane.after(tools);

  pane.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) { return; }
    const step = event.shiftKey ? 0.1 : view.w / 50;
    const act = {
      ArrowLeft: () => steer(-step, 0), ArrowRight: () => steer(step, 0),
      ArrowUp: () => steer(0, -step), ArrowDown: () => steer(0, step),
      "+": () => zoom(0.6, middle()), "=": () => zoom(0.6, middle()), "-": () => zoom(1 / 0.6, middle()),
      "0": reset, Home: reset, Enter: () => { steer(0, 0); point({ ...cross }); },
    }[event.key];
    if (act) { event.preventDefault(); act(); }
  });
  const at = (event) => {
    const place = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return { x: place.x, y: place.y };
  };
  svg.addEventListener("wheel", (event) => {
    if (!event.ctrlKey) { return; } /* the plain wheel goes on to scroll the page */
    event.preventDefault();
    zoom(event.deltaY > 0 ? 1.15 : 1 / 1.15, at(event));
  }, { passive: false });
  svg.addEventListener("pointerdown", (event) => { drag = at(event); moved = false; });
  svg.addEventListener("pointermove", (event) => {
    if (!drag || event.buttons === 0) { return; }
    const here = at(event), dx = here.x - drag.x, dy = here.y - drag.y;
    if (moved || Math.hypot(dx, dy) > view.w / 150) {
      if (!moved) { moved = true; svg.setPointerCapture(event.pointerId); }
      view.x -= dx; view.y -= dy; draw();
    }
  });
  svg.addEventListener("pointerup", (event) => {
    if (drag && !moved) { cross = null; aim.setAttribute("visibility", "hidden"); point(at(event)); }
    drag = null;
  });
  svg.addEventListener("pointercancel", () => { drag = null; });
  lookers.set(look, (x, y, across) => {
    view = { x: x - across / 2, y: y - (across / 2) * (whole.h / whole.w), w: across, h: across * (whole.h / whole.w) };
    draw();
  });
});

/* A place of a finding: the drawing of the part goes there, with the film of its mask and a ring. */
const places = document.getElementById("places");
document.querySelectorAll("button.place").forEach((button) => button.addEventListener("click", () => {
  const { x, y, mask, message } = button.dataset;
  places.hidden = false;
  places.querySelectorAll("[data-film]").forEach((film) => { film.toggleAttribute("hidden", film.dataset.film !== mask); });
  const ring = places.querySelector("[data-ring]");
  ring.removeAttribute("hidden");
  ring.setAttribute("transform", `translate(${x} ${y})`);
  places.querySelector(".told").textContent = message;
  lookers.get(places)(Number(x), Number(y), 12);
  document.querySelectorAll("button.place[aria-current]").forEach((other) => other.removeAttribute("aria-current"));
  button.setAttribute("aria-current", "true");
  places.scrollIntoView({ block: "nearest" });
  places.querySelector(".pane").focus({ preventScroll: true });
}));
