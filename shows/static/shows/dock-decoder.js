// Reads QR codes from pictures, away from the page. Told first where the decoder lies: it asks no other host for it.
let ready = null;

function start({ library, wasm }) {
  importScripts(library);
  ready = self.ZXingWASM.prepareZXingModule({ overrides: { locateFile: () => wasm }, fireImmediately: true });
}

const canvas = typeof OffscreenCanvas === "function" ? new OffscreenCanvas(1, 1) : null;

// One picture whole, or the square in its middle; brought to the size that reads best for its price.
function pixels({ picture, one }) {
  if (picture instanceof ImageData) return { data: picture, left: 0, top: 0, scale: 1 };
  const side = Math.min(picture.width, picture.height) * 0.7;
  const [width, height] = one ? [side, side] : [picture.width, picture.height];
  const [left, top] = one ? [(picture.width - side) / 2, (picture.height - side) / 2] : [0, 0];
  const scale = Math.min(1, 1280 / Math.max(width, height));
  canvas.width = Math.round(width * scale);
  canvas.height = Math.round(height * scale);
  const pen = canvas.getContext("2d", { willReadFrequently: true });
  pen.drawImage(picture, left, top, width, height, 0, 0, canvas.width, canvas.height);
  picture.close();
  return { data: pen.getImageData(0, 0, canvas.width, canvas.height), left, top, scale };
}

self.onmessage = async ({ data: told }) => {
  if (told.library) {
    try {
      start(told);
      await ready;
      self.postMessage({ ready: true });
    } catch (error) {
      self.postMessage({ broken: String(error) });
    }
    return;
  }
  const began = performance.now();
  try {
    await ready;
    const { data, left, top, scale } = pixels(told);
    const found = await self.ZXingWASM.readBarcodes(data, {
      formats: ["QRCode"],
      maxNumberOfSymbols: told.one ? 4 : 64,
      tryHarder: true,
      tryRotate: true,
      tryInvert: told.count % 8 === 0, // labels are dark on light: the other way round is tried now and then
      tryDownscale: true,
    });
    const codes = found
      .filter((one) => one.isValid !== false && one.text)
      .map(({ text, position }) => ({
        text,
        corners: ["topLeft", "topRight", "bottomRight", "bottomLeft"].map((name) => [position[name].x / scale + left, position[name].y / scale + top]),
      }));
    self.postMessage({ codes, ms: performance.now() - began });
  } catch (error) {
    self.postMessage({ codes: [], ms: performance.now() - began, broken: String(error) });
  }
};
