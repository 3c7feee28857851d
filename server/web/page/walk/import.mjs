// Puts lots into a batch as a gRPC client does: messages of the protos, written
// by hand, over HTTP/2. Only what the walk needs: lots of polygons.
import { connect } from 'node:http2';

const varint = (n) => (n < 128 ? [n] : [(n % 128) + 128, ...varint(Math.floor(n / 128))]);
const field = (number, bytes) => Buffer.concat([Buffer.from([...varint(number * 8 + 2), ...varint(bytes.length)]), bytes]);
const text = (number, s) => field(number, Buffer.from(s));

function positions(ring) {
  const packed = Buffer.alloc(ring.length * 16);
  ring.flat().forEach((v, i) => packed.writeDoubleLE(v, i * 8));
  return field(1, packed);
}

const layers = ['', 'parcel', 'turf', 'bed', 'building', 'hardscape', 'water', 'wall', 'tree', 'no_dig'];

function feature(f) {
  const polygon = Buffer.concat(f.geometry.coordinates.map((ring) => field(1, positions(ring))));
  return Buffer.concat([Buffer.from([8, layers.indexOf(f.properties.layer)]), field(2, field(3, polygon))]);
}

/** The features of one lot as a message Lot. */
const lot = (id, features) => Buffer.concat([text(1, id), ...features.map((f) => field(2, feature(f)))]);

const framed = (message) => Buffer.concat([Buffer.from([0, 0, 0, 0, 0].map((_, i) => (i === 0 ? 0 : (message.length >> (8 * (4 - i))) & 255))), message]);

/** Imports lots, each a list of features with its id, and resolves when they are acknowledged. */
export function importLots(address, key, batch, lots) {
  const client = connect(`http://${address}`);
  const call = client.request({
    ':method': 'POST', ':path': '/lotwright.v1.BatchService/ImportLots', 'content-type': 'application/grpc', te: 'trailers', authorization: `Bearer ${key}`,
  });
  call.write(framed(field(1, Buffer.concat([text(1, batch), text(2, 'walk')]))));
  for (const [id, features] of lots) call.write(framed(field(2, lot(id, features))));
  call.end();
  call.resume();
  return new Promise((done, failed) => {
    const judge = (h) => h['grpc-status'] !== undefined && (client.close(), h['grpc-status'] === '0' ? done() : failed(new Error(`gRPC ${h['grpc-status']}: ${h['grpc-message']}`)));
    call.on('response', judge);
    call.on('trailers', judge);
    call.on('error', failed);
  });
}
