// One note in both recordings, one after the other, at half speed where one likes.
(() => {
  "use strict";

  const list = document.getElementById("note-list");
  if (!list || !panel) return;
  const BEFORE_S = 0.08;
  const FADE_S = 0.01;
  const button = document.getElementById("note-hear");
  const begin = button.textContent;
  const now = document.getElementById("note-now");
  let sound = null;
  let waiting = [];

  /* Sixteen bits, in the form that every browser plays: RIFF, PCM. */
  function wave({ channels, rate, gain }) {
    const frames = channels[0].length;
    const view = new DataView(new ArrayBuffer(44 + 2 * frames * channels.length));
    const text = (at, word) => [...word].forEach((letter, index) => view.setUint8(at + index, letter.charCodeAt(0)));
    text(0, "RIFF");
    view.setUint32(4, view.byteLength - 8, true);
    text(8, "WAVEfmt ");
    view.setUint32(16, 16, true);
    view.setUint16(20, 1, true);
    view.setUint16(22, channels.length, true);
    view.setUint32(24, rate, true);
    view.setUint32(28, 2 * rate * channels.length, true);
    view.setUint16(32, 2 * channels.length, true);
    view.setUint16(34, 16, true);
    text(36, "data");
    view.setUint32(40, view.byteLength - 44, true);
    let at = 44;
    for (let frame = 0; frame < frames; frame += 1) {
      const fade = Math.min(1, (frame + 1) / (FADE_S * rate), (frames - frame) / (FADE_S * rate));
      for (const channel of channels) {
        const value = Math.max(-1, Math.min(1, channel[frame] * gain * fade));
        view.setInt16(at, Math.round(32767 * value), true);
        at += 2;
      }
    }
    return new Blob([view], { type: "audio/wav" });
  }

  function show(voice) {
    now.textContent = voice;
    button.textContent = voice ? "Stop" : begin;
  }

  function stop() {
    waiting = [];
    if (sound) sound.pause();
    show("");
  }

  function next() {
    URL.revokeObjectURL(sound.src);
    const [voice, clip] = waiting.shift() || ["", null];
    show(voice);
    if (!clip) return;
    sound.src = URL.createObjectURL(wave(clip));
    sound.playbackRate = document.getElementById("note-slow").checked ? 0.5 : 1;
    sound.play();
  }

  async function hear() {
    if (waiting.length || now.textContent) {
      stop();
      return;
    }
    const [from, to] = panel.data.notes[Number(list.value)];
    try {
      const voices = ["reference", "candidate"];
      waiting = await Promise.all(
        voices.map(async (voice) => [voice, await panel.alone(voice, from - BEFORE_S, to)]));
    } catch {
      now.textContent = "This browser cannot play the sound.";
      return;
    }
    if (!sound) {
      sound = new Audio();
      sound.preservesPitch = true;
      sound.addEventListener("ended", next);
      panel.joined(sound);
      panel.others.stop = stop;
    }
    next();
  }

  button.addEventListener("click", hear);
  list.addEventListener("change", stop);
  panel.data.drawn.forEach((note, place) => {
    const picture = document.getElementById(`articulation-note-${place}`);
    if (!picture || note < 0) return;
    picture.classList.add("heard");
    picture.addEventListener("click", () => {
      stop();
      list.value = String(note);
      hear();
    });
  });
})();
