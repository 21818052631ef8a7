// The blind trial: X is one of the two, by chance.
function blindTrial({ state, byId, listenTo, setLevel, routeBand, show }) {
  const coin = () => (crypto.getRandomValues(new Uint8Array(1))[0] & 1 ? "reference" : "candidate");

  /* Chance of at least so many right answers by guessing: upper tail of the binomial. */
  function byGuessing(right, total) {
    let term = 0.5 ** total;
    let sum = 0;
    for (let count = 0; count <= total; count += 1) {
      if (count >= right) sum += term;
      term *= (total - count) / (count + 1);
    }
    return sum;
  }

  function toggleTrial() {
    if (state.trial) {
      const { before } = state.trial;
      state.trial = null;
      if (state.chosen === "x") listenTo("reference");
      setLevel(before);
    } else {
      const before = state.level;
      state.bandOnly = false;
      routeBand();
      setLevel("loudness");
      beginTrial(before);
    }
    show();
  }

  function beginTrial(before = state.trial.before) {
    state.trial = { hidden: coin(), right: 0, total: 0, before, heard: new Set() };
    const level = state.level === "loudness"
      ? "Same loudness"
      : "Same gain for what did not change, so loudness alone may tell them apart";
    byId("trial-score").textContent = `${level}. X is chosen by chance. No answers yet.`;
    if (state.chosen === "x") listenTo("x");
  }

  const isHeard = () => ["reference", "candidate", "x"].every((voice) => state.trial.heard.has(voice));

  function answer(guess) {
    const { trial } = state;
    if (!isHeard()) return;
    const right = guess === trial.hidden;
    trial.total += 1;
    trial.right += right ? 1 : 0;
    const chance = byGuessing(trial.right, trial.total);
    const percent = chance >= 0.1 ? Math.round(100 * chance) : (100 * chance).toPrecision(1);
    byId("trial-score").textContent =
      `${right ? "Right" : "Wrong"}: X was the ${trial.hidden}. ${trial.right} of ${trial.total} right;` +
      ` by guessing alone one gets at least that many ${percent} % of the time. X is chosen anew.`;
    trial.hidden = coin();
    trial.heard.delete("x");
    if (state.chosen === "x") listenTo("x");
    show();
  }

  return { toggleTrial, beginTrial, isHeard, answer };
}
