// How loud the voices are over what is played, and what brings them to one loudness.
function loudnessMeter(data, voices, toClock, stretchOf) {
  const mean = (levels) =>
    10 * Math.log10(levels.reduce((sum, level) => sum + 10 ** (level / 10), 0) / levels.length);

  /* Gated loudness (ITU-R BS.1770) of a voice over what is played, from the blocks inside. */
  function loudnessOf(voice, index) {
    const { block, hop, absolute, relative } = data.meter;
    const [from, to] = stretchOf(index).map((place) => toClock(voice, place) - data.segments[index][voice][0]);
    const inside = data.loudness[index][voice].filter(
      (level, at) => level > absolute && at * hop >= from - hop / 2 && at * hop + block <= to + hop / 2);
    const gate = mean(inside) + relative;
    return mean(inside.filter((level) => level > gate));
  }

  /* What turns the voices down to the softest; nothing where one of them is too soft to measure. */
  function turnedDownBy(index) {
    const levels = voices.map((voice) => loudnessOf(voice, index));
    const softest = Math.min(...levels);
    return Object.fromEntries(voices.map((voice, at) => [voice, levels[at] - softest || 0]));
  }

  /* What the panel says of it: over the loop, or over all. */
  function inWords(index, isLoop) {
    const levels = voices.map((voice) => loudnessOf(voice, index));
    if (!levels.every(Number.isFinite)) {
      return "Too short or too soft here to tell the loudness: both levels play alike.";
    }
    const down = turnedDownBy(index);
    const names = { reference: "reference", candidate: "candidate", preview: "candidate with the trims" };
    const louder = voices.slice(1).map((voice, at) => {
      const by = levels[at + 1] - levels[0];
      if (Math.abs(by) < 0.05) return `the ${names[voice]} is as loud as the reference`;
      return `the ${names[voice]} is ${Math.abs(by).toFixed(1)} LU ${by < 0 ? "softer" : "louder"} than the reference`;
    });
    const turned = voices.map((voice) => `the ${names[voice]} ${down[voice].toFixed(1)} dB down`);
    return `Over ${isLoop ? "the loop" : "all that plays"}, at the same gain for what did not change, ` +
      `${louder.join(", ")}. At the same loudness: ${turned.join(", ")}.`;
  }

  return { turnedDownBy, inWords };
}
