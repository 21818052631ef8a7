
// What else the page plays goes through the panel: its sound, its level, its volume.
const panel = (() => {
  "use strict";

  const FADE_S = 0.01;
  const LEAD_S = 0.03;
  // On a busy machine orders may reach the sound this late; fades of this kind then start late
  // instead of jumping.
  const LATEST_S = 0.5;
  const LEAST_LOOP_S = 1.5;
  const LEAST_OWN_LOOP_S = 0.3;

  const source = document.getElementById("comparison");
  if (!source) return null;
  const data = JSON.parse(source.textContent);
  const byId = (id) => document.getElementById(id);
  const [spanStart, spanEnd] = data.span;

  const voices = ["reference", "candidate", "preview"].filter((voice) => voice in data.segments[0]);

  /* ---- the two clocks: all but the reference run on the candidate's ---- */

  const toClock = (voice, place) => (voice === "reference" ? place : interpolate(data.map, place, 0, 1));
  const toPlace = (voice, time) => (voice === "reference" ? time : interpolate(data.map, time, 1, 0));

  /* ---- state ---- */

  const state = {
    place: data.segments[0].reference[0],
    voice: "reference",
    chosen: "reference",
    playing: false,
    loop: null,
    finding: null,
    band: null,
    bandOnly: false,
    trial: null,
    level: "gain",
  };
  let audio = null;
  let passes = [];
  const others = { stop: () => {} };

  const segmentAt = (place) =>
    data.segments.findIndex(({ reference: [a, b] }) => place >= a - 1e-6 && place < b - 0.02);

  /* ---- sound ---- */

  function bytesOf(id) {
    const text = atob(byId(id).textContent.trim());
    const bytes = new Uint8Array(text.length);
    for (let index = 0; index < text.length; index += 1) bytes[index] = text.charCodeAt(index);
    return bytes.buffer;
  }

  async function prepare() {
    if (audio) return audio.ready;
    const context = new AudioContext();
    const nodes = {
      entry: context.createGain(),
      whole: context.createGain(),
      band: context.createGain(),
      volume: context.createGain(),
      filters: [],
    };
    nodes.entry.connect(nodes.whole).connect(nodes.volume);
    let tail = nodes.entry;
    /* Two second-order sections each make a fourth-order Butterworth slope; here Q is in dB. */
    for (const [type, q] of [["highpass", -5.33], ["highpass", 2.32], ["lowpass", -5.33], ["lowpass", 2.32]]) {
      const filter = context.createBiquadFilter();
      filter.type = type;
      filter.Q.value = q;
      nodes.filters.push(filter);
      tail = tail.connect(filter);
    }
    tail.connect(nodes.band).connect(nodes.volume);
    nodes.volume.connect(context.destination);
    audio = { context, nodes, buffers: [], ready: null };
    setVolume();
    routeBand();
    audio.ready = (async () => {
      say("Preparing the sound");
      for (let index = 0; index < data.segments.length; index += 1) {
        const sounds = {};
        for (const voice of voices) {
          sounds[voice] = await context.decodeAudioData(bytesOf(`sound-${voice}-${index}`));
        }
        audio.buffers.push(sounds);
      }
      say("");
    })();
    return audio.ready;
  }

  function setVolume() {
    if (audio) audio.nodes.volume.gain.value = 10 ** (Number(byId("volume").value) / 20);
  }

  function routeBand() {
    if (!audio) return;
    const { context, nodes } = audio;
    if (state.band) {
      const [low, high] = state.band;
      const top = context.sampleRate / 2;
      nodes.filters.forEach((filter, index) => {
        filter.frequency.value = Math.min(index < 2 ? low : high, top);
      });
    }
    const only = state.bandOnly && state.band ? 1 : 0;
    nodes.band.gain.setTargetAtTime(only, context.currentTime, FADE_S / 3);
    nodes.whole.gain.setTargetAtTime(1 - only, context.currentTime, FADE_S / 3);
  }

  /* ---- how loud ---- */

  const stretchOf = (index) => {
    const [a, b] = data.segments[index].reference;
    const [from, to] = state.loop ? [Math.max(state.loop[0], a), Math.min(state.loop[1], b)] : [a, b];
    return from < to ? [from, to] : [a, b];
  };

  const { turnedDownBy, inWords } = loudnessMeter(data, voices, toClock, stretchOf);

  const gainOf = (voice, index) =>
    state.level === "loudness" ? 10 ** (-turnedDownBy(index)[voice] / 20) : 1;

  /* One pass plays one recording from a place to the end of its segment or loop. */
  function startPass(when, place) {
    const index = segmentAt(place);
    if (index < 0) return null;
    const voice = state.voice;
    const segment = data.segments[index];
    const end = state.loop ? Math.min(state.loop[1], segment.reference[1]) : segment.reference[1];
    const offset = toClock(voice, place) - segment[voice][0];
    const length = toClock(voice, end) - toClock(voice, place);
    const fade = Math.min(FADE_S, length / 3);
    const player = audio.context.createBufferSource();
    player.buffer = audio.buffers[index][voice];
    const shape = audio.context.createGain();
    shape.gain.value = 0;
    shape.gain.setTargetAtTime(1, when, fade / 4);
    shape.gain.setValueAtTime(1, when + length - fade);
    shape.gain.linearRampToValueAtTime(0, when + length);
    const exit = audio.context.createGain();
    exit.gain.value = gainOf(voice, index);
    player.connect(shape).connect(exit).connect(audio.nodes.entry);
    player.start(when, Math.max(offset, 0), length);
    const pass = { player, exit, when, place, voice, index, end, until: when + length };
    player.onended = () => afterPass(pass);
    passes.push(pass);
    return pass;
  }

  function afterPass(pass) {
    if (!passes.includes(pass)) return;
    passes = passes.filter((other) => other !== pass);
    const last = passes[passes.length - 1];
    if (state.loop && last) startPass(last.until, state.loop[0]);
    else if (!last) finish(pass.end);
  }

  function begin(when, place) {
    if (state.trial) state.trial.heard.add(state.chosen);
    const pass = startPass(when, place);
    if (pass && state.loop) startPass(pass.until, state.loop[0]);
    return pass;
  }

  function stopPasses(when) {
    for (const { player, exit } of passes) {
      exit.gain.setTargetAtTime(0, when, FADE_S / 4);
      player.stop(when + LATEST_S);
    }
    passes = [];
  }

  function placeAt(time) {
    const pass = passes.find(({ when, until }) => time >= when && time < until);
    if (!pass) return state.place;
    return toPlace(pass.voice, toClock(pass.voice, pass.place) + time - pass.when);
  }

  /* ---- verbs ---- */

  async function play() {
    try {
      await prepare();
    } catch {
      say("This browser cannot play the sound.");
      return;
    }
    others.stop();
    await audio.context.resume();
    let place = state.place;
    if (state.loop && (place < state.loop[0] || place >= state.loop[1] - 0.05)) place = state.loop[0];
    if (segmentAt(place) < 0) {
      const next = data.segments.find(({ reference }) => reference[0] > place) || data.segments[0];
      place = next.reference[0];
    }
    const when = audio.context.currentTime + LEAD_S;
    stopPasses(when);
    state.playing = Boolean(begin(when, place));
    state.place = place;
    show();
    requestAnimationFrame(follow);
  }

  function pause() {
    const time = audio.context.currentTime;
    state.place = placeAt(time);
    stopPasses(time);
    state.playing = false;
    show();
  }

  function finish(place) {
    state.playing = false;
    state.place = place >= spanEnd - 0.1 ? data.segments[0].reference[0] : place;
    show();
  }

  /* Switching carries the place in the music over, not the time on the clock. */
  function listenTo(chosen) {
    if (chosen === "x" ? !state.trial : !voices.includes(chosen)) return;
    state.chosen = chosen;
    const voice = chosen === "x" ? state.trial.hidden : chosen;
    /* In a trial every choice restarts the sound, so that none betrays itself by going on. */
    if (voice !== state.voice || state.trial) {
      if (state.playing) {
        const when = audio.context.currentTime + LEAD_S;
        const place = placeAt(when);
        stopPasses(when);
        state.voice = voice;
        begin(when, place);
      } else {
        state.voice = voice;
      }
    }
    show();
  }

  function switchOver() {
    const choices = state.trial ? ["reference", "candidate", "x"] : voices;
    listenTo(choices[(choices.indexOf(state.chosen) + 1) % choices.length]);
  }

  function seek(place) {
    state.place = Math.min(Math.max(place, spanStart), spanEnd - 0.05);
    if (state.loop && (place < state.loop[0] || place > state.loop[1])) state.loop = null;
    if (state.playing) play();
    else show();
  }

  function loopOver(finding, index, bandOnly) {
    const { spans, band } = finding;
    let [start, end] = spans[index] || data.span;
    const missing = LEAST_LOOP_S - (end - start);
    if (missing > 0) [start, end] = [start - missing / 2, end + missing / 2];
    start = Math.max(start, spanStart);
    end = Math.min(end, spanEnd);
    const home = data.segments.find(({ reference: [a, b] }) => start < b - 0.5 && end > a + 0.5);
    if (home) [start, end] = [Math.max(start, home.reference[0]), Math.min(end, home.reference[1])];
    state.finding = finding;
    state.loop = [start, end];
    state.band = band;
    state.bandOnly = Boolean(bandOnly && band && !state.trial);
    state.place = start;
    routeBand();
    play();
  }

  /* A loop of one's own, from one place to another. */
  function loopBetween(one, other) {
    const home = data.segments[Math.max(segmentAt(Math.min(one, other)), 0)].reference;
    const [start, end] = [Math.max(Math.min(one, other), home[0]), Math.min(Math.max(one, other), home[1])];
    if (end - start < LEAST_OWN_LOOP_S) return;
    const place = state.playing ? placeAt(audio.context.currentTime) : state.place;
    state.loop = [start, end];
    state.place = place >= start && place < end ? place : start;
    if (state.playing) play();
    else show();
  }

  function loopFromHere(isEnd) {
    const here = state.playing ? placeAt(audio.context.currentTime) : state.place;
    const [start, end] = state.loop || data.span;
    loopBetween(isEnd ? start : here, isEnd ? here : end);
  }

  function leaveLoop() {
    const place = state.playing ? placeAt(audio.context.currentTime) : state.place;
    state.loop = null;
    state.place = place;
    if (state.playing) play();
    else show();
  }

  function toggleBand() {
    if (!state.band || state.trial) return;
    state.bandOnly = !state.bandOnly;
    routeBand();
    show();
  }

  /* Answers of a trial count at one level only. */
  function setLevel(level) {
    if (state.level === level) return;
    state.level = level;
    for (const { exit, voice, index } of passes) {
      exit.gain.setTargetAtTime(gainOf(voice, index), audio.context.currentTime, FADE_S / 4);
    }
    if (state.trial) beginTrial();
    show();
  }

  function step(by) {
    if (!data.findings.length) return;
    const at = data.findings.indexOf(state.finding);
    const next = at < 0 ? 0 : (at + by + data.findings.length) % data.findings.length;
    loopOver(data.findings[next], 0, state.bandOnly);
    byId(`finding-${data.findings[next].rank}`).scrollIntoView({ block: "nearest" });
  }

  const { toggleTrial, beginTrial, isHeard, answer } =
    blindTrial({ state, byId, listenTo, setLevel, routeBand, show });

  /* ---- what is seen ---- */

  function clockText(seconds) {
    const whole = Math.floor(Math.max(seconds, 0) + 1e-6);
    return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
  }

  const say = (text) => { byId("status").textContent = text; };
  const percentOf = (place) => (100 * (place - spanStart)) / (spanEnd - spanStart);

  function showPlace(place) {
    byId("needle").style.left = `${percentOf(place)}%`;
    const text = clockText(place);
    if (byId("now").textContent !== text) {
      byId("now").textContent = text;
      const timeline = byId("timeline");
      timeline.setAttribute("aria-valuenow", place.toFixed(1));
      timeline.setAttribute("aria-valuetext", text);
    }
  }

  function show() {
    showPlace(state.place);
    byId("loudness").textContent = inWords(Math.max(segmentAt(state.place), 0), Boolean(state.loop));
    for (const button of document.querySelectorAll(".level")) {
      button.setAttribute("aria-pressed", String(button.dataset.level === state.level));
    }
    byId("play").textContent = state.playing ? "Pause" : "Play";
    byId("play").setAttribute("aria-label", state.playing ? "Pause" : "Play");
    for (const button of document.querySelectorAll(".voice")) {
      button.setAttribute("aria-pressed", String(button.dataset.voice === state.chosen));
      if (button.dataset.voice === "x") button.hidden = !state.trial;
      if (button.dataset.voice === voices[voices.length - 1]) button.classList.toggle("last", !state.trial);
    }
    byId("band").disabled = !state.band || Boolean(state.trial);
    byId("band").setAttribute("aria-pressed", String(state.bandOnly));
    byId("unloop").hidden = !state.loop;
    const loop = byId("loop");
    loop.hidden = !state.loop;
    if (state.loop) {
      loop.style.left = `${percentOf(state.loop[0])}%`;
      loop.style.width = `${percentOf(state.loop[1]) - percentOf(state.loop[0])}%`;
    }
    for (const card of document.querySelectorAll(".card")) {
      card.classList.toggle("current", state.finding !== null && card.id === `finding-${state.finding.rank}`);
    }
    byId("trial-start").textContent = state.trial ? "End" : "Start";
    byId("trial-start").setAttribute("aria-pressed", String(Boolean(state.trial)));
    byId("trial-x").disabled = !state.trial;
    for (const button of document.querySelectorAll(".answer")) button.disabled = !state.trial || !isHeard();
  }

  function follow() {
    if (!state.playing) return;
    state.place = placeAt(audio.context.currentTime);
    showPlace(state.place);
    requestAnimationFrame(follow);
  }

  takeHands({
    data, state, byId, play, pause, seek, listenTo, switchOver, setLevel, setVolume, toggleBand,
    loopOver, loopBetween, loopFromHere, leaveLoop, step, toggleTrial, answer,
  });

  /* ---- for other sounds of the page ---- */

  async function alone(voice, from, to) {
    await prepare();
    if (state.playing) pause();
    await audio.context.resume();
    const index = Math.max(segmentAt(from), 0);
    const buffer = audio.buffers[index][voice];
    const [first, last] = [from, to].map((place) =>
      Math.round(buffer.sampleRate * (toClock(voice, place) - data.segments[index][voice][0])));
    const channels = Array.from({ length: buffer.numberOfChannels }, (_, channel) =>
      buffer.getChannelData(channel).slice(Math.max(first, 0), Math.max(last, 0)));
    return { channels, rate: buffer.sampleRate, gain: gainOf(voice, index) };
  }

  const joined = (element) => audio.context.createMediaElementSource(element).connect(audio.nodes.volume);

  show();
  return { data, others, alone, joined };
})();
