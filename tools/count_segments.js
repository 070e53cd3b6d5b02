// Counts texts with the npm package sms-segments-calculator 1.3.0 (MIT), for tests/published/segments_elsewhere.json:
//     npm install sms-segments-calculator@1.3.0
//     node tools/count_segments.js < texts.json > tests/published/segments_elsewhere.json
// Reads a JSON list of texts; writes a list of [text, encoding, bits of the text, parts], one a line.
const { SegmentedMessage } = require("sms-segments-calculator");
const texts = JSON.parse(require("fs").readFileSync(0, "utf8"));
const rows = texts.map((text) => {
  const counted = new SegmentedMessage(text);
  return JSON.stringify([text, counted.getEncodingName(), counted.messageSize, counted.segmentsCount]);
});
console.log(`[\n${rows.join(",\n")}\n]`);
