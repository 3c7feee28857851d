import { describe, expect, it, test } from 'vitest';
import { measured, NeedsService, parse, readFiles, Unreadable, withoutSupply } from '../src/lots';
import { chosenQuery, guesses, wrong } from '../src/confirm';
import { Edit, shifted } from '../src/edit';
import { byId, collection, compare, fileName, resultOf } from '../src/results';
import { common, sum } from '../src/scenario';
import { readLots, type Answer } from '../src/service';
import { converted, counted, percent, quantity } from '../src/units';
import { atPressure, faults, pressures, query, settingsOf, type Water } from '../src/water';
import { proofWords, statusOf } from '../src/words';

const feature = (lot: unknown, layer: string, more = {}) => ({ type: 'Feature', properties: { lot, layer, ...more }, geometry: null });
const file = (text: BlobPart, name = 'a.geojson') => new File([text], name);

describe('files', () => {
  it('reads the three forms alike', async () => {
    const list = [feature('1', 'parcel'), feature('1', 'building'), feature('2', 'parcel'), feature('2', 'hardscape')];
    const forms = [
      JSON.stringify({ type: 'FeatureCollection', features: list }, null, 1),
      list.map((f) => JSON.stringify(f)).join('\n'),
      list.map((f) => `\x1e${JSON.stringify(f)}\n`).join(''),
      `\uFEFF${JSON.stringify({ type: 'FeatureCollection', features: list })}`,
    ];
    for (const text of forms) {
      const lots = await readFiles([file(text)]);
      expect([...lots.lots.keys()]).toEqual(['1', '2']);
      expect(Object.fromEntries(lots.layers)).toEqual({ parcel: 2, building: 1, hardscape: 1 });
    }
  });

  it('takes a layer a file, by the name of the file', async () => {
    const bare = { type: 'Feature', properties: { lot: '1' }, geometry: null };
    const lots = await readFiles([file(JSON.stringify(bare), 'Parcel.geojson'), file(JSON.stringify(bare), 'building.json'), file(JSON.stringify(bare), 'sheds.json')]);
    expect(Object.fromEntries(lots.layers)).toEqual({ parcel: 1, building: 1, 'no layer': 1 });
    expect([lots.name, lots.lots.size]).toEqual(['3 files', 1]);
  });

  it('takes no feature that names no lot', async () => {
    const list = [feature('1', 'parcel'), feature('', 'building'), feature(null, 'building'), feature(3, 'parcel')];
    await expect(readFiles([file(JSON.stringify({ type: 'FeatureCollection', features: list }))])).rejects.toThrow(NeedsService);
  });

  it('unpacks gzip', async () => {
    const packed = new Response(file(JSON.stringify(feature('1', 'parcel'))).stream().pipeThrough(new CompressionStream('gzip')));
    expect((await readFiles([file(await packed.arrayBuffer(), 'a.geojson.gz')])).lots.size).toBe(1);
  });

  it('names the line that is wrong', () => {
    expect(() => parse('a', `${JSON.stringify(feature('1', 'parcel'))}\n{"x"`)).toThrow(/a, line 2/);
    expect(() => parse('a', '[]')).toThrow(Unreadable);
    expect(() => parse('a', 'null')).toThrow(Unreadable);
    expect(() => parse('a', '{"type":"FeatureCollection","features":[null]}')).toThrow(Unreadable);
  });

  it('tells and takes away the water of a lot', async () => {
    const own = feature('1', 'parcel', { static_pressure_psi: 60, flow_gpm: 9, name: 'x' });
    const lots = await readFiles([file(JSON.stringify({ type: 'FeatureCollection', features: [own, feature('2', 'parcel')] }))]);
    expect(measured(lots)).toBe(1);
    expect(withoutSupply(lots.lots.get('1')!.features[0]).properties).toEqual({ lot: '1', layer: 'parcel', name: 'x' });
  });
});

describe('water', () => {
  const w: Water = {
    way: 'test', system: 'us', headPressure: 55, staticPressure: 60, testFlow: 9, testPressure: 50, bucketVolume: 5, bucketSeconds: 40, coverage: 97, replace: false,
    head: 'variable', effort: 'default', meter: '', serviceLine: null, serviceSize: '1in', backflow: '', pipeSize: '',
  };
  it('asks in the units typed', () => {
    expect(String(query({ ...w, way: 'heads' }))).toBe('head_pressure=55psi&coverage=97%25');
    expect(decodeURIComponent(String(query(w)))).toBe('static_pressure=60psi&flow_test=9gpm@50psi&coverage=97%');
    expect(decodeURIComponent(String(query({ ...w, way: 'bucket', system: 'metric' })))).toBe('static_pressure=60kPa&bucket=5L/40s&coverage=97%');
  });
  it('asks for heads, and for what lies on the way', () => {
    const all = { ...w, head: 'multi-stream', effort: 'thorough', meter: '3/4in', serviceLine: 40, serviceSize: '1in', backflow: 'double-check', pipeSize: '1in' };
    expect(decodeURIComponent(String(query(all)))).toBe(
      'static_pressure=60psi&flow_test=9gpm@50psi&meter=3/4in&service_line=40ft&service_size=1in&backflow=double-check&pipe_size=1in&coverage=97%&head=multi-stream&effort=thorough');
    expect(String(query({ ...all, way: 'heads' }))).not.toContain('meter');
    expect(faults({ ...all, serviceLine: NaN }).map((f) => f.field)).toEqual(['serviceLine']);
    expect(settingsOf({ ...all, system: 'metric' })).toEqual({
      supply: { static_pressure_kpa: 60, flow_test: { flow_lpm: 9, pressure_kpa: 50 } }, coverage_target: 0.97,
      head: 'MULTI_STREAM', effort: 'THOROUGH', pipe_size: '1in', meter: '3/4in', service_line_m: 40, service_size: '1in', backflow: { kind: 'DOUBLE_CHECK' },
    });
    expect(settingsOf({ ...w, way: 'heads' })).toEqual({ supply: { head_pressure_kpa: 55 * 6.894757293168361 }, coverage_target: 0.97 });
  });
  it('finds what is wrong', () => {
    expect(faults(w)).toEqual([]);
    expect(faults({ ...w, testPressure: 60 }).map((f) => f.field)).toEqual(['testPressure']);
    expect(faults({ ...w, way: 'bucket', bucketSeconds: 0, coverage: 101 }).map((f) => f.field)).toEqual(['bucketSeconds', 'coverage']);
    expect(faults({ ...w, way: 'heads', headPressure: null }).map((f) => f.field)).toEqual(['headPressure']);
  });
  // As server/cli does for the command line: the pipe to the tap loses what it lost.
  it('carries a test over to another street pressure', () => {
    expect(atPressure(w, 45)).toMatchObject({ staticPressure: 45, testPressure: 35, testFlow: 9, replace: true });
    const little = atPressure(w, 5); // less than the 10 psi lost: all that the open tap gives
    expect(little.testPressure).toBe(0);
    expect(little.testFlow).toBeCloseTo(9 * 0.5 ** (1 / 1.852), 6);
    expect(atPressure({ ...w, way: 'bucket' }, 30).bucketVolume).toBeCloseTo(5 * 0.5 ** (1 / 1.852), 6);
    expect(atPressure({ ...w, way: 'heads' }, 45)).toMatchObject({ headPressure: 45, replace: true });
  });
  test('pressures', () => {
    expect(pressures('60, 45;55  45')).toEqual([45, 55, 60]);
    for (const bad of ['', 'x', '45, -1', '45 psi']) expect(pressures(bad)).toBeNull();
  });
});

describe('answers', () => {
  const lines = ['{"properties":{"lot":"é1","layer":"lot","status":"designed","heads":2}}', '{"properties":{"lot":"é1","layer":"head"}}', '{"properties":{"lot":"2","layer":"lot","status":"invalid"}}'];
  /** The text, torn between any two bytes. */
  const torn = (size: number) => {
    const bytes = new TextEncoder().encode(`${lines.join('\n')}\n`);
    return new ReadableStream<Uint8Array>({
      start(c) {
        for (let i = 0; i < bytes.length; i += size) c.enqueue(bytes.slice(i, i + size));
        c.close();
      },
    });
  };
  it.each([1, 2, 7, 1000])('come whole when torn every %i bytes', async (size) => {
    const got: Answer[] = [];
    await readLots(torn(size), (a) => got.push(a));
    expect(got.map((a) => [a.lot, a.text.length, a.figures.status])).toEqual([['é1', 2, 'designed'], ['2', 1, 'invalid']]);
    const whole = JSON.parse(await collection(got.map((a) => resultOf(a))).text());
    expect(whole.features).toEqual(lines.map((l) => JSON.parse(l)));
  });
  it('breaks off with an error, and no lot is taken for whole that may be half', async () => {
    const got: Answer[] = [];
    let pulled = 0;
    const broken = new ReadableStream<Uint8Array>({
      pull(c) {
        if (pulled++ === 0) c.enqueue(new TextEncoder().encode(`${lines.join('\n')}\n`));
        else c.error(new Error('cut'));
      },
    });
    await expect(readLots(broken, (a) => got.push(a))).rejects.toThrow('cut');
    expect(got.map((a) => a.lot)).toEqual(['é1']);
  });
});

describe('words and order', () => {
  test('quantities', () => {
    const f = { throw_m: 8.322, throw_ft: 27.304, dry_m2: null };
    expect(quantity(f, 'throw', 'length', 'us')).toBe('27.3 ft');
    expect(quantity(f, 'throw', 'length', 'metric')).toBe('8.3 m');
    expect(quantity(f, 'dry', 'area', 'metric')).toBe('–');
    expect(quantity({ depth_m: 0.254 }, 'depth', 'depth', 'metric')).toBe('25 cm');
    expect(percent(0.96999)).toBe('96.9 %');
    expect(percent(0.97)).toBe('97.0 %');
    expect(counted(1, 'lot')).toBe('1 lot');
    expect(converted(converted(55, 'pressure', 'metric'), 'pressure', 'us')).toBeCloseTo(55, 9);
    expect(converted(55, 'pressure', 'metric')).toBeCloseTo(379.2116511, 6);
  });
  test('proofs claim no more than was proved', () => {
    expect(proofWords({ heads: 6, heads_bound: 6, proof: 'continuous' }, 'us')).toBe('Proved: 6 heads are the fewest, wherever they may stand.');
    expect(proofWords({ heads: 1, heads_bound: 1, proof: 'continuous' }, 'us')).toBe('Proved: 1 head is the fewest, wherever they may stand.');
    expect(proofWords({ heads: 7, heads_bound: 6, proof: 'continuous' }, 'us')).toBe('Proved: it takes at least 6 heads, wherever they may stand.');
    expect(proofWords({ heads: 6, heads_bound: 6, proof: 'discrete', candidate_spacing_m: 1 }, 'metric')).toBe('Proved for the places tried, 1.0 m apart: 6 heads are the fewest.');
    expect(proofWords({ heads: 6, heads_bound: 0, proof: 'none' }, 'us')).toBe('Whether fewer could do has not been proved.');
  });
  test('states', () => {
    expect(statusOf({ status: 'infeasible' })).toBe('infeasible');
    expect(statusOf(undefined)).toBe('waiting');
    expect(statusOf({ status: 'news' })).toBe('waiting');
  });
  test('the unknown is last either way', () => {
    const values = [3, null, 1, 2];
    expect([...values].sort((a, b) => compare(a, b, false))).toEqual([1, 2, 3, null]);
    expect([...values].sort((a, b) => compare(a, b, true))).toEqual([3, 2, 1, null]);
  });
  test('lots as the service orders them', () => {
    expect(['b', 'a10', 'a', '\u{1F600}', '\uFFFD'].sort(byId)).toEqual(['a', 'a10', 'b', '\uFFFD', '\u{1F600}']);
  });
  test('file names', () => {
    expect(fileName('../a b/é')).toBe('_a_b_é');
    expect(fileName('///')).toBe('_');
  });
});

test('only lots designed everywhere are compared', () => {
  const figures = (...heads: (number | null)[]) => heads.map((n, i) => ({ lot: String(i), status: n === null ? 'infeasible' : 'designed', heads: n, trench_ft: 10, trench_m: 3, coverage: 0.98 - i / 100 }));
  const scenarios = [{ pressure: 40, system: 'us' as const, figures: figures(5, null, 3) }, { pressure: 50, system: 'us' as const, figures: figures(4, 6, 2) }];
  expect([...common(scenarios)]).toEqual(['0', '2']);
  expect(sum(scenarios[0].figures, 'us')).toEqual({ lots: 3, designed: 2, heads: 8, trench: 20, cost: null, coverage: 0.96 });
  expect(sum([], 'us')).toEqual({ lots: 0, designed: 0, heads: 0, trench: null, cost: null, coverage: null });
});

describe('tables of files', () => {
  const table = (name: string, layer: string, labelled = false) => ({ file: 'a.gpkg', table: name, columns: ['pin'], system: 'WGS 84', features: 3, geometry: 'Polygon', layer, labelled });
  it('are chosen as guessed', () => {
    const choices = guesses([table('lots', 'parcel'), table('roofs', 'building'), table('streets', ''), table('all', '', true), { ...table('', 'wall'), file: 'w.geojson' }]);
    expect(choices.map((c) => c.as)).toEqual(['parcel', 'building', '', 'labelled', 'wall']);
    expect(decodeURIComponent(String(chosenQuery(choices, 'pin')))).toBe('layer=parcel=a.gpkg:lots&layer=building=a.gpkg:roofs&in=a.gpkg:all&layer=wall=w.geojson&lot_property=pin');
  });
  it('need one table of lots', () => {
    expect(wrong(guesses([table('roofs', 'building')]))).toContain('which table holds the lots');
    expect(wrong(guesses([table('a', 'parcel'), table('b', 'parcel')]))).toContain('Only one table');
    expect(wrong(guesses([table('a', 'parcel')]))).toBe('');
    expect(wrong(guesses([table('a', '', true)]))).toBe('');
  });
});

describe('moved heads', () => {
  const point = (head: string, lon: number, more = {}) => ({ type: 'Feature' as const, properties: { lot: 'A', layer: 'head', head, ...more }, geometry: { type: 'Point', coordinates: [lon, 40] } });
  const base = [feature('A', 'lot'), point('H1', 10), point('H2', 11, { fixed: true }), feature('A', 'wetted'), feature('A', 'pipe')] as ConstructorParameters<typeof Edit>[1];
  it('begin from the design as it was answered', () => {
    const e = new Edit('A', base);
    expect(e.features().map((f) => f.properties!.layer)).toEqual(['lot', 'head', 'head', 'pipe']);
    expect(e.heads()).toEqual([{ head: 'H1', at: [10, 40], kept: false }, { head: 'H2', at: [11, 40], kept: true }]);
    e.begin();
    e.move('H1', [10.5, 40]);
    expect(e.features()[1].geometry!.coordinates).toEqual([10.5, 40]);
    e.keep('H1', true);
    expect(e.pins().map((f) => [f.properties, f.geometry!.coordinates])).toEqual([
      [{ lot: 'A', layer: 'head', head: 'H1', fixed: true }, [10.5, 40]], [{ lot: 'A', layer: 'head', head: 'H2', fixed: true }, [11, 40]]]);
    e.undo();
    e.undo();
    expect([e.moved, e.canUndo, e.pins().length]).toEqual([false, false, 1]);
    expect((base[1].geometry as { coordinates: number[] }).coordinates).toEqual([10, 40]);
  });
  // Lengths of a degree on WGS 84 at 40° north: 111,034.6 m of latitude, 85,393.6 m of longitude (closed forms of the meridian and parallel).
  it('move by metres', () => {
    const [lon, lat] = shifted([10, 40], 85.3936, 111.0346);
    expect(lon).toBeCloseTo(10.001, 7);
    expect(lat).toBeCloseTo(40.001, 7);
  });
});
