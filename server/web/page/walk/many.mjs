// A town of many lots: the example's, laid out again and again. What stands
// before the service passes the page on and answers for the lots itself, with
// the example's designs moved to their places, since designing a town takes
// the service minutes.
import { createServer } from 'node:http';
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

const step = 0.006; // degrees from one copy to the next, more than the example is wide

export async function manyLots(service, example, n) {
  const own = grouped(example.features);
  const designs = await designsOf(service, example);
  const ids = [...own.keys()];
  const across = Math.ceil(Math.sqrt(n / ids.length));
  const places = Array.from({ length: n }, (_, i) => {
    const copy = Math.floor(i / ids.length);
    return { lot: `T-${String(i + 1).padStart(5, '0')}`, like: ids[i % ids.length], dx: (copy % across) * step, dy: Math.floor(copy / across) * step };
  });
  const folder = await mkdtemp(join(tmpdir(), 'lots-'));
  const file = join(folder, 'town.geojsonl');
  await writeFile(file, places.flatMap((p) => own.get(p.like).map((f) => JSON.stringify(moved(f, p)))).join('\n'));
  const byLot = new Map(places.map((p) => [p.lot, p]));
  const server = createServer((req, res) => (req.method === 'POST' ? answer(req, res, byLot, designs) : pass(req, res, service)));
  await new Promise((ready) => server.listen(0, '127.0.0.1', ready));
  return {
    url: `http://127.0.0.1:${server.address().port}/`,
    file,
    async close() {
      server.close();
      await rm(folder, { recursive: true });
    },
  };
}

async function designsOf(service, example) {
  const answer = await fetch(`${service}v1/lots:design?head_pressure=55psi&coverage=60%25`, {
    method: 'POST', headers: { 'Content-Type': 'application/geo+json' }, body: JSON.stringify(example),
  });
  return grouped((await answer.json()).features);
}

/** A feature of another lot at another place. */
function moved(f, { lot, dx, dy }) {
  const shift = (c) => (typeof c[0] === 'number' ? [Number((c[0] + dx).toFixed(8)), Number((c[1] + dy).toFixed(8))] : c.map(shift));
  return { ...f, properties: { ...f.properties, lot }, geometry: f.geometry && { ...f.geometry, coordinates: shift(f.geometry.coordinates) } };
}

async function answer(req, res, places, designs) {
  let text = '';
  for await (const piece of req.setEncoding('utf8')) text += piece;
  const wanted = new Set(JSON.parse(text).features.map((f) => f.properties.lot));
  res.writeHead(200, { 'Content-Type': 'application/x-ndjson' });
  for (const lot of wanted) {
    const place = places.get(lot);
    const more = res.write(designs.get(place.like).map((f) => `${JSON.stringify(moved(f, place))}\n`).join(''));
    if (!more) await new Promise((drained) => res.once('drain', drained));
  }
  res.end();
}

async function pass(req, res, service) {
  const from = await fetch(new URL(req.url, service));
  res.writeHead(from.status, { 'Content-Type': from.headers.get('Content-Type'), 'Content-Security-Policy': from.headers.get('Content-Security-Policy') });
  res.end(Buffer.from(await from.arrayBuffer()));
}

function grouped(features) {
  const lots = new Map();
  for (const f of features) lots.set(f.properties.lot, [...(lots.get(f.properties.lot) ?? []), f]);
  return lots;
}
