// Photographs that wait on the device for the shop, as the browser's database keeps them: {id, at, box, blob}. A box is
// the outbox that sends them; the id goes with the photograph, so that the shop enters one sent twice once.
const STORE = "photos";
const held = new Map(); // where a browser keeps nothing (private windows): as long as the page lives

const answered = (asked) => new Promise((done, failed) => {
  asked.onsuccess = () => done(asked.result);
  asked.onerror = () => failed(asked.error);
});

async function inStore(mode, act) {
  const opening = indexedDB.open("lw", 1);
  opening.onupgradeneeded = () => opening.result.createObjectStore(STORE, { keyPath: "id" });
  const database = await answered(opening);
  try {
    const work = database.transaction(STORE, mode, { durability: "strict" });
    const written = new Promise((done, failed) => {
      work.oncomplete = done;
      work.onabort = () => failed(work.error);
    });
    const result = answered(act(work.objectStore(STORE)));
    await Promise.all([result, written]); // on the device only when the whole is written
    return await result;
  } finally {
    database.close();
  }
}

export const keepPhoto = (photo) =>
  inStore("readwrite", (store) => store.put(photo)).catch(() => held.set(photo.id, photo));

export async function photosOf(box) {
  const kept = await inStore("readonly", (store) => store.getAll()).catch(() => []);
  return [...kept, ...held.values()].filter((photo) => photo.box === box);
}

export const photoOf = async (box, id) => (await photosOf(box)).find((photo) => photo.id === id);

export async function dropPhotos(ids) {
  for (const id of ids) {
    held.delete(id);
    await inStore("readwrite", (store) => store.delete(id)).catch(() => {});
  }
}
