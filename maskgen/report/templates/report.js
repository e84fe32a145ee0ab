"use strict";
document.querySelectorAll(".walk").forEach((walk) => {
  const steps = [...walk.querySelectorAll(":scope > ol > li")];
  const output = walk.querySelector("output");
  let now = 0;
  const show = (to) => {
    now = Math.max(0, Math.min(steps.length - 1, to));
    steps.forEach((step, index) => { step.hidden = index !== now; });
    output.textContent = `step ${now + 1} of ${steps.length}`;
  };
  walk.classList.add("live");
  walk.querySelectorAll("[data-go]").forEach((button) =>
    button.addEventListener("click", () => show(now + Number(button.dataset.go))));
  walk.addEventListener("keydown", (event) => {
    const go = { ArrowLeft: now - 1, ArrowRight: now + 1, Home: 0, End: steps.length - 1 }[event.key];
    if (go !== undefined) { event.preventDefault(); show(go); }
  });
  show(0);
});
document.querySelectorAll(".look").forEach((look) => {
  const svg = look.querySelector("svg");
  const home = svg.viewBox.baseVal;
  const whole = { x: home.x, y: home.y, w: home.width, h: home.height };
  let view = { ...whole }, from = null, drag = null, moved = false;
  const tools = document.createElement("div");
  tools.className = "tools";
  tools.innerHTML = '<button type="button" aria-label="closer">+</button><button type="button" aria-label="further">&#8722;</button>' +
    '<button type="button">whole</button><output aria-live="polite"></output>';
  look.querySelector(".pane").after(tools);
  const [closer, further, all] = tools.querySelectorAll("button");
  const output = tools.querySelector("output");
  const mark = document.createElementNS("http://www.w3.org/2000/svg", "line");
  mark.setAttribute("stroke", "#d0021b"); mark.setAttribute("stroke-width", "2"); mark.setAttribute("vector-effect", "non-scaling-stroke");
  svg.append(mark);
  const set = () => svg.setAttribute("viewBox", `${view.x} ${view.y} ${view.w} ${view.h}`);
  const at = (event) => {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return { x: point.x, y: point.y };
  };
  const zoom = (factor, about) => {
    const next = Math.min(whole.w, Math.max(whole.w / 400, view.w * factor)), f = next / view.w;
    view = { x: about.x - (about.x - view.x) * f, y: about.y - (about.y - view.y) * f, w: view.w * f, h: view.h * f };
    set();
  };
  const middle = () => ({ x: view.x + view.w / 2, y: view.y + view.h / 2 });
  closer.addEventListener("click", () => zoom(0.6, middle()));
  further.addEventListener("click", () => zoom(1 / 0.6, middle()));
  all.addEventListener("click", () => { view = { ...whole }; set(); });
  svg.addEventListener("wheel", (event) => { event.preventDefault(); zoom(event.deltaY > 0 ? 1.15 : 1 / 1.15, at(event)); }, { passive: false });
  svg.addEventListener("pointerdown", (event) => { drag = at(event); moved = false; });
  svg.addEventListener("pointermove", (event) => {
    if (!drag || event.buttons === 0) { return; }
    const here = at(event), dx = here.x - drag.x, dy = here.y - drag.y;
    if (moved || Math.hypot(dx, dy) > view.w / 150) { moved = true; view.x -= dx; view.y -= dy; set(); }
  });
  svg.addEventListener("pointerup", (event) => {
    if (!moved && drag) {
      const here = at(event);
      if (from === null) {
        from = here; output.textContent = "now the second point";
        ["x1", "x2"].forEach((key) => mark.setAttribute(key, here.x)); ["y1", "y2"].forEach((key) => mark.setAttribute(key, here.y));
      } else {
        mark.setAttribute("x2", here.x); mark.setAttribute("y2", here.y);
        output.textContent = `${Math.hypot(here.x - from.x, here.y - from.y).toFixed(2)} mm`; from = null;
      }
    }
    drag = null;
  });
});
