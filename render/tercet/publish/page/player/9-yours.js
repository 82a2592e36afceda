/* Record yourself: what it takes is fetched, or unpacked, when somebody asks for it. */
(function (T) {
  "use strict";
  const open = T.byId("yours-open");
  if (!open) return;

  open.addEventListener("click", async () => {
    const packed = T.byId("hearing");
    const script = document.createElement("script");
    open.hidden = true;
    if (packed) script.textContent = await window.TercetSet.unpacked(packed.textContent);
    else script.src = open.dataset.src;
    script.onerror = () => {
      open.hidden = false;
      T.byId("yours-room").textContent = T.text("yours_no_script");
    };
    document.body.append(script);
  });
})(window.Tercet);
