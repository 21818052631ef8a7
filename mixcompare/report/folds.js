// A link into a fold opens it, and what it lies in.
(() => {
  const unfold = () => {
    const target = location.hash && document.getElementById(location.hash.slice(1));
    if (!target) return;
    for (let at = target; at; at = at.parentElement) if (at.tagName === "DETAILS") at.open = true;
    target.scrollIntoView();
  };
  window.addEventListener("hashchange", unfold);
  document.addEventListener("click", (event) => {
    // Chosen a second time, the address does not change.
    const link = event.target.closest('a[href^="#"]');
    if (link && link.hash === location.hash) unfold();
  });
  unfold();
})();

