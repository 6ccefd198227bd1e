"use strict";
// Pictures, made small before they are kept: 1600 pixels at most, JPEG, without the place and time in the file.

const LONGEST = 1600;
const QUALITY = 0.82;

// Returns a picture as { body: ArrayBuffer, type }; one that this browser cannot open stays as it is.
async function shrink(file) {
  let picture;
  try {
    picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  } catch {
    return { body: await file.arrayBuffer(), type: file.type || "application/octet-stream" };
  }
  const scale = Math.min(1, LONGEST / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(picture.width * scale));
  canvas.height = Math.max(1, Math.round(picture.height * scale));
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  const small = await new Promise((resolve) => { canvas.toBlob(resolve, "image/jpeg", QUALITY); });
  return { body: await small.arrayBuffer(), type: "image/jpeg" };
}
