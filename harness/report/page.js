/* Brings the page to life: colours, player. */

byId("colours").addEventListener("change", (event) => {
  document.documentElement.dataset.colours = event.target.value;
});

if (byId("desk") && "AudioContext" in window) {
  const player = new Player(JSON.parse(byId("piece").textContent));
  player.blind = new Blind(player);
  byId("desk").hidden = false;
  window.player = player;
}
