
(() => {
  "use strict";

  const byId = (id) => document.getElementById(id);

  /* ---- what is ticked off stays so in this browser ---- */

  const memory = `mixcompare ${location.pathname}`;
  let ticked = {};
  try {
    ticked = JSON.parse(localStorage.getItem(memory)) || {};
  } catch {
    /* Without a memory every visit begins anew. */
  }
  for (const box of document.querySelectorAll(".items input:not(:disabled)")) {
    const words = box.closest("tr").querySelector("label").textContent;
    box.checked = Boolean(ticked[words]);
    box.addEventListener("change", () => {
      ticked[words] = box.checked;
      try {
        localStorage.setItem(memory, JSON.stringify(ticked));
      } catch {
        /* as above */
      }
    });
  }

  const source = byId("takes");
  if (!source) return;
  const { takes } = JSON.parse(source.textContent);

  /* ---- two voices, each a file with its own clock ---- */

  const voices = [0, 1].map(() => ({ sound: new Audio(), take: null, isReference: true }));
  let current = 0;
  let playing = false;

  const toTime = ({ take, isReference }, place) =>
    isReference ? place - take.referenceSpan[0] : interpolate(take.map, place, 0, 1) - take.candidateSpan[0];
  const toPlace = ({ take, isReference }, time) =>
    isReference ? time + take.referenceSpan[0] : interpolate(take.map, time + take.candidateSpan[0], 1, 0);

  const place = () => toPlace(voices[current], voices[current].sound.currentTime);

  function range() {
    const spans = voices.map(({ take }) => take.referenceSpan);
    return [Math.max(spans[0][0], spans[1][0]), Math.min(spans[0][1], spans[1][1])];
  }

  /* A candidate was matched to the reference of its own pair, which was turned down by its gain:
     the voice whose pair was turned down least is turned down until both are alike. */
  function setVolume() {
    const least = Math.min(...voices.map(({ take }) => take.gain));
    for (const { sound, take } of voices) {
      sound.volume = 10 ** ((Number(byId("volume").value) + least - take.gain) / 20);
    }
  }

  function pick() {
    const at = voices[current].take ? place() : null;
    pause();
    const chosen = [0, 1].map((number) => byId(`pick-${number}`).value);
    const fallback = takes[Number(chosen.find((value) => value !== "") || 0)];
    voices.forEach((voice, number) => {
      voice.isReference = chosen[number] === "";
      voice.take = voice.isReference ? fallback : takes[Number(chosen[number])];
      const address = voice.isReference ? voice.take.reference : voice.take.candidate;
      if (voice.address !== address) {
        voice.address = address;
        voice.sound.src = address;
      }
      voice.sound.preload = "auto";
    });
    const [start, end] = range();
    byId("place").min = start;
    byId("place").max = end;
    setVolume();
    seek(at === null ? start : Math.min(Math.max(at, start), end));
  }

  function seek(to) {
    for (const voice of voices) voice.sound.currentTime = Math.max(toTime(voice, to), 0);
    show(to);
  }

  async function play() {
    try {
      await voices[current].sound.play();
      playing = true;
      byId("status").textContent = "";
      requestAnimationFrame(follow);
    } catch {
      byId("status").textContent = "This browser cannot play the sound.";
    }
    show(place());
  }

  function pause() {
    playing = false;
    for (const { sound } of voices) sound.pause();
    if (voices[current].take) show(place());
  }

  /* Switching carries the place in the music over, not the time on the clock. */
  function listenTo(number) {
    if (number === current) return;
    const at = place();
    voices[current].sound.pause();
    current = number;
    voices[current].sound.currentTime = Math.max(toTime(voices[current], at), 0);
    if (playing) play();
    else show(at);
  }

  function clockText(seconds) {
    const whole = Math.floor(Math.max(seconds, 0) + 1e-6);
    return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
  }

  function show(at) {
    byId("place").value = at;
    byId("now").textContent = clockText(at);
    byId("play").textContent = playing ? "Pause" : "Play";
    for (const number of [0, 1]) {
      byId(`voice-${number}`).setAttribute("aria-pressed", String(number === current));
    }
  }

  function follow() {
    if (!playing) return;
    const at = place();
    if (voices[current].sound.ended || at >= range()[1]) {
      pause();
      seek(range()[0]);
      return;
    }
    show(at);
    requestAnimationFrame(follow);
  }

  /* ---- hands ---- */

  byId("play").addEventListener("click", () => (playing ? pause() : play()));
  byId("volume").addEventListener("input", setVolume);
  byId("place").addEventListener("input", (event) => seek(Number(event.target.value)));
  for (const number of [0, 1]) {
    byId(`voice-${number}`).addEventListener("click", () => listenTo(number));
    byId(`pick-${number}`).addEventListener("change", pick);
  }
  for (const button of document.querySelectorAll("[data-take]")) {
    button.addEventListener("click", () => {
      const options = [...byId("pick-1").options];
      byId("pick-1").value = options.find(({ text }) => text === button.dataset.take).value;
      pick();
      listenTo(1);
      if (!playing) play();
    });
  }
  document.addEventListener("keydown", (event) => {
    if (event.target.closest("input, select, button, summary, a") || event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === " ") (playing ? pause : play)();
    else if (event.key.toLowerCase() === "s") listenTo(1 - current);
    else return;
    event.preventDefault();
  });
  pick();
})();
