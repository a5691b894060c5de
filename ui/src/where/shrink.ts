// A photograph drawn anew, small enough for the book; its camera's notes of place and time stay behind.
import { triesOf } from "./crop";

/** Bytes of a picture as it is sent; the book takes a little more. */
const SMALL = 180_000;

/** The photograph as a JPEG in base64, or the line that says why it is none. */
export async function shrunk(file: Blob): Promise<{ image: string } | { line: string }> {
  let photo: ImageBitmap;
  try {
    photo = await createImageBitmap(file, { imageOrientation: "from-image" });
  } catch {
    return { line: "This browser cannot read that file as a picture. A JPEG or a PNG is read by all." };
  }
  const canvas = document.createElement("canvas");
  for (const { wide, high, quality } of triesOf(photo.width, photo.height)) {
    [canvas.width, canvas.height] = [wide, high];
    const c = canvas.getContext("2d");
    c?.drawImage(photo, 0, 0, wide, high);
    const image = canvas.toDataURL("image/jpeg", quality).split(",")[1] ?? "";
    if ((image.length * 3) / 4 <= SMALL && image !== "") {
      photo.close();
      return { image };
    }
  }
  photo.close();
  return { line: "That picture cannot be made small enough; take a part of it." };
}
