/* A lesson on the board: N takes this week's bars, then goes on to the next song's board; P goes back to the one before. */
((T, player) => {
  const link = (name) => T.byId(`lesson-${name}`);
  const week = T.byId("week-loop");
  const bars = week && { first: Number(week.dataset.first), last: Number(week.dataset.last) };
  const taken = () => !bars || (player.loop && player.loop.first === bars.first && player.loop.last === bars.last);
  const take = () => T.pickLoop(bars.first, bars.last);
  const go = (to) => { if (to) location.href = to.href; };
  const KEYS = { n: () => { if (taken()) go(link("after")); else take(); }, p: () => go(link("before")) };

  document.addEventListener("keydown", (event) => {
    const key = event.key.toLowerCase();
    if (!document.body.classList.contains("boarded") || !Object.hasOwn(KEYS, key)) return;
    if (event.repeat || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    KEYS[key]();
  }, true);
  T.later(() => { if (location.hash === "#board" && bars) take(); });
})(window.Tercet, window.Tercet.player);
