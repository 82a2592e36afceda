/* Where the page comes from a server that a browser trusts, it can be taken along: it opens offline, and can be installed. */
(function () {
  "use strict";
  if (!window.isSecureContext || !location.protocol.startsWith("http") || !("serviceWorker" in navigator)) return;
  const root = document.querySelector("meta[name=tercet-root]");
  if (!root) return;
  const link = document.createElement("link");
  link.rel = "manifest";
  link.href = root.content + "class.webmanifest";
  document.head.append(link);

  function parts() {
    return [location.href.split("#")[0], ...performance.getEntriesByType("resource").map((entry) => entry.name)];
  }

  window.addEventListener("load", async () => {
    try {
      await navigator.serviceWorker.register(root.content + "offline.js");
      const { active } = await navigator.serviceWorker.ready;
      active.postMessage(parts());
    } catch (_) {
      return;
    }
  });
})();
