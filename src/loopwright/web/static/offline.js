// Lets the device keep what it was shown, where browsers allow it (this machine, or TLS). Elsewhere the open page goes on.
if ("serviceWorker" in navigator) {
  const workers = navigator.serviceWorker;
  // The page that brought the worker was loaded without it; let it be seen once more, so that a reload finds it.
  const seeAgain = () => fetch(location.href, { headers: { Accept: "text/html" } }).catch(() => {});
  workers.addEventListener("controllerchange", seeAgain);
  workers.register("/worker.js", { scope: "/" }).catch(() => {});
  // A page that was on its way while the worker began belongs to nobody yet.
  workers.ready.then((ready) => {
    const [loaded] = performance.getEntriesByType("navigation");
    if (!workers.controller) ready.active.postMessage("claim");
    else if (loaded?.workerStart === 0) seeAgain(); // it took over before this line was reached
  });
}
