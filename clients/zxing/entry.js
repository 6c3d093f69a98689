// What of @zxing/library the phone needs: README.md says how clients/rackside/decoder/zxing.js is made of it.
export { default as BinaryBitmap } from "@zxing/library/es2015/core/BinaryBitmap.js";
export { default as HybridBinarizer } from "@zxing/library/es2015/core/common/HybridBinarizer.js";
export { default as RGBLuminanceSource } from "@zxing/library/es2015/core/RGBLuminanceSource.js";
export { default as QRCodeReader } from "@zxing/library/es2015/core/qrcode/QRCodeReader.js";
export { default as Code128Reader } from "@zxing/library/es2015/core/oned/Code128Reader.js";
export { default as DecodeHintType } from "@zxing/library/es2015/core/DecodeHintType.js";
