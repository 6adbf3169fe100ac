"use strict";
(function () {
  const data = document.getElementById("take");
  if (!data) return;
  const begins = Number(data.dataset.start), beat = Number(data.dataset.beat);
  const sounds = { take: document.getElementById("sound-take"), ticked: document.getElementById("sound-ticked") };
  const bars = Array.from(document.querySelectorAll("ol.bars button"));
  const said = document.getElementById("said"), stop = document.getElementById("stop");
  const three = document.getElementById("three");
  const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
  let ends = 0, queue = [], line = null;

  function way() { return document.querySelector("input[name=way]:checked").value; }
  function sound() { return way() === "ticked" ? sounds.ticked : sounds.take; }
  function now() { return sound().currentTime + begins; }

  function halt() {
    Object.values(sounds).forEach((s) => s.pause());
    queue = [];
    stop.disabled = true;
    draw();
  }

  function play(from, to, what) {
    Object.values(sounds).forEach((s) => s.pause());
    const s = sound();
    s.preservesPitch = true;
    s.playbackRate = way() === "half" ? 0.5 : 1;
    s.currentTime = Math.max(0, from - begins);
    ends = to;
    stop.disabled = false;
    said.textContent = what;
    s.play().then(() => requestAnimationFrame(step), () => { said.textContent = "This browser cannot play the sound."; });
  }

  function step() {
    if (sound().paused && !sound().ended) { draw(); return; }
    if (sound().ended || now() >= ends) {
      const next = queue.shift();
      if (next) { hear(next); return; }
      halt();
      return;
    }
    draw();
    requestAnimationFrame(step);
  }

  function draw() {
    if (line) { line.remove(); line = null; }
    bars.forEach((b) => b.classList.remove("playing"));
    if (sound().paused) return;
    const t = now();
    const bar = bars.find((b) => t >= Number(b.dataset.from) && t < Number(b.dataset.to));
    if (!bar) return;
    if (still) { bar.classList.add("playing"); return; }
    const svg = bar.querySelector("svg"), box = svg.viewBox.baseVal;
    const x = (box.width + 2 * box.x) * (t - Number(bar.dataset.from)) / (Number(bar.dataset.to) - Number(bar.dataset.from));
    line = document.createElementNS("http://www.w3.org/2000/svg", "line");
    line.setAttribute("class", "play");
    for (const [name, value] of [["x1", x], ["x2", x], ["y1", 14], ["y2", box.height]]) line.setAttribute(name, value);
    svg.appendChild(line);
  }

  function hear(bar) {
    play(Number(bar.dataset.from) - beat / 2, Number(bar.dataset.to), bar.getAttribute("aria-label"));
  }

  bars.forEach((bar, i) => {
    bar.addEventListener("click", (event) => {
      queue = [];
      const mark = event.target.closest("[data-at]");
      if (mark) play(Number(mark.dataset.at) - beat / 2, Number(mark.dataset.at) + beat, mark.dataset.said);
      else hear(bar);
    });
    bar.addEventListener("keydown", (event) => {
      const to = { ArrowRight: i + 1, ArrowLeft: i - 1, Home: 0, End: bars.length - 1 }[event.key];
      if (to === undefined || !bars[to]) return;
      event.preventDefault();
      bars[to].focus();
    });
  });
  Object.values(sounds).forEach((s) => s.addEventListener("ended", () => { if (!queue.length) halt(); }));
  stop.addEventListener("click", () => { halt(); said.textContent = "Stopped."; });
  document.addEventListener("keydown", (event) => { if (event.key === "Escape") halt(); });
  document.querySelectorAll("input[name=way]").forEach((input) => input.addEventListener("change", halt));
  document.getElementById("all").addEventListener("click", () => {
    queue = [];
    play(begins, begins + sound().duration, "The whole take.");
  });
  if (three) three.addEventListener("click", () => {
    queue = bars.filter((bar) => bar.classList.contains("worst"));
    const first = queue.shift();
    if (first) hear(first);
  });
  data.hidden = false;
})();
