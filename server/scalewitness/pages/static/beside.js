/* A photo that somebody takes of their own snake, drawn beside the one on record: to look at, and never sent.
   Without script they hold the snake beside the photo. */

const place = document.querySelector("[data-beside]");
const taken = place?.querySelector("input");
const canvas = place?.querySelector("canvas");
place?.removeAttribute("hidden");

/** Wide enough for the scales of a head on any screen; more would only cost memory. */
const WIDEST = 1600;

taken?.addEventListener("change", async () => {
  const file = taken.files?.[0];
  if (!canvas || !file) return;
  const picture = await createImageBitmap(file).catch(() => null);
  canvas.hidden = !picture;
  if (!picture) return;
  const scale = Math.min(1, WIDEST / picture.width);
  canvas.width = Math.round(picture.width * scale);
  canvas.height = Math.round(picture.height * scale);
  canvas.getContext("2d")?.drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
});
