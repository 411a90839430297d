// Lets the device keep what it was shown, where browsers allow it (this machine, or TLS). Elsewhere the open page goes on.
if ("serviceWorker" in navigator) {
  navigator.serviceWorker.register("/worker.js", { scope: "/" }).catch(() => {});
  // The page that brought the worker was loaded without it; let it be seen once more, so that a reload finds it.
  navigator.serviceWorker.addEventListener("controllerchange", () => {
    fetch(location.href, { headers: { Accept: "text/html" } }).catch(() => {});
  });
}
