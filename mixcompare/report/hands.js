// What hands do: buttons, the time line, keys.
function takeHands(panel) {
  // A hand that only points trembles this far.
  const DRAGGED_PX = 6;
  const {
    data, state, byId, play, pause, seek, listenTo, switchOver, setLevel, setVolume, toggleBand,
    loopOver, loopBetween, loopFromHere, leaveLoop, step, toggleTrial, answer,
  } = panel;
  const [spanStart, spanEnd] = data.span;

  byId("play").addEventListener("click", () => (state.playing ? pause() : play()));
  byId("band").addEventListener("click", toggleBand);
  byId("unloop").addEventListener("click", leaveLoop);
  byId("volume").addEventListener("input", setVolume);
  byId("trial-start").addEventListener("click", toggleTrial);
  byId("trial-x").addEventListener("click", () => { listenTo("x"); if (!state.playing) play(); });
  for (const button of document.querySelectorAll(".level")) {
    button.addEventListener("click", () => setLevel(button.dataset.level));
  }
  for (const button of document.querySelectorAll(".answer")) {
    button.addEventListener("click", () => answer(button.dataset.answer));
  }
  for (const button of document.querySelectorAll(".voice")) {
    button.addEventListener("click", () => listenTo(button.dataset.voice));
  }
  for (const button of document.querySelectorAll("[data-finding]")) {
    button.addEventListener("click", () => {
      const finding = data.findings.find(({ rank }) => rank === Number(button.dataset.finding));
      loopOver(finding, Number(button.dataset.span), button.dataset.band);
    });
  }

  const timeline = byId("timeline");
  let pressed = null;
  function placeUnder(event) {
    const box = timeline.querySelector(".overlay").getBoundingClientRect();
    return spanStart + ((event.clientX - box.left) / box.width) * (spanEnd - spanStart);
  }
  const isDragged = (event) => pressed !== null && Math.abs(event.clientX - pressed.x) > DRAGGED_PX;
  timeline.addEventListener("pointerdown", (event) => {
    if (event.button === 0) pressed = { x: event.clientX, place: placeUnder(event) };
  });
  timeline.addEventListener("pointermove", (event) =>
    timeline.classList.toggle("dragged", event.buttons === 1 && isDragged(event)));
  timeline.addEventListener("click", (event) => {
    const [from, to] = [pressed ? pressed.place : placeUnder(event), placeUnder(event)];
    if (isDragged(event)) loopBetween(from, to);
    else if (to >= spanStart - 0.01 * (spanEnd - spanStart) && to <= spanEnd + 0.01 * (spanEnd - spanStart)) seek(to);
    pressed = null;
    timeline.classList.remove("dragged");
  });
  timeline.addEventListener("keydown", (event) => {
    const jumps = { PageUp: 10, PageDown: -10, ArrowUp: 2, ArrowDown: -2 };
    if (event.key in jumps) seek(state.place + jumps[event.key]);
    else if (event.key === "Home") seek(spanStart);
    else if (event.key === "End") seek(spanEnd);
    else return;
    event.preventDefault();
  });

  const keys = {
    " ": () => (state.playing ? pause() : play()),
    s: switchOver,
    1: () => listenTo("reference"),
    2: () => listenTo("candidate"),
    3: () => listenTo("x"),
    4: () => listenTo("preview"),
    g: () => setLevel(state.level === "gain" ? "loudness" : "gain"),
    b: toggleBand,
    escape: leaveLoop,
    i: () => loopFromHere(false),
    o: () => loopFromHere(true),
    n: () => step(1),
    p: () => step(-1),
    arrowleft: () => seek(state.place - 2),
    arrowright: () => seek(state.place + 2),
  };
  document.addEventListener("keydown", (event) => {
    if (!byId("keys").checked || event.ctrlKey || event.metaKey || event.altKey) return;
    const target = event.target;
    if (target.closest("input, textarea, select")) return;
    const key = event.key.toLowerCase();
    if (key === " " && target.closest("button, a, summary, label")) return;
    if (key.startsWith("arrow") && target.closest(".scroll")) return;
    if (!(key in keys)) return;
    event.preventDefault();
    keys[key]();
  });
}
