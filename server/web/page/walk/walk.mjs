// Walks the page as people do, in Chromium, against the program itself:
//
//   node walk/walk.mjs LOTWRIGHT [PICTURES [WALK…]]
//
// Every check that fails ends the walk. No request may leave the host, and
// nothing may be said on the console's channel of errors.
import assert from 'node:assert/strict';
import { mkdir, mkdtemp, readFile, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createRequire } from 'node:module';
import { chromium } from 'playwright-core';
import { run, startService } from './service.mjs';
import { importLots } from './import.mjs';
import { manyLots } from './many.mjs';

const [program, pictures, ...only] = process.argv.slice(2);
const axe = await readFile(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const example = JSON.parse(await readFile(new URL('../../../../testdata/lots/larkenfold/subdivision.geojson', import.meta.url), 'utf8'));
const lots = new Set(example.features.map((f) => f.properties.lot)).size;

let checks = 0;
function check(what, holds, ...more) {
  assert.ok(holds, [what, ...more].join(': '));
  checks++;
}

/** A page of the service whose every request is watched. */
async function visit(browser, url, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1360, height: 900 }, acceptDownloads: true, ...options });
  const page = await context.newPage();
  page.setDefaultTimeout(90_000);
  const foreign = [];
  const said = [];
  const origin = new URL(url).origin;
  page.on('request', (r) => /^(blob|data):/.test(r.url()) || new URL(r.url()).origin === origin || foreign.push(r.url()));
  page.on('console', (m) => m.type() === 'error' && said.push(m.text()));
  page.on('pageerror', (e) => said.push(String(e)));
  await page.goto(url);
  return {
    page,
    async leave(forgiven = /^$/) {
      assert.deepEqual(foreign, [], 'requests to other hosts');
      assert.deepEqual(said.filter((s) => !forgiven.test(s)), [], 'errors on the console');
      checks += 2;
      await context.close();
    },
  };
}

async function accessible(page, where) {
  await page.evaluate(axe);
  const found = await page.evaluate(() => globalThis.axe.run(document, { resultTypes: ['violations'] }));
  const list = found.violations.map((v) => `${v.id}: ${v.nodes.map((n) => n.html.slice(0, 160)).join(' | ')}`);
  assert.deepEqual(list, [], `axe, ${where}`);
  checks++;
}

async function picture(page, name, options = {}) {
  if (!pictures) return;
  await mkdir(pictures, { recursive: true });
  await page.screenshot({ path: `${pictures}/${name}.png`, ...options });
}

const said = (page, pattern) => page.waitForFunction((p) => new RegExp(p).test(document.getElementById('said').textContent), pattern);
const demo = new URL('../../../../testdata/lots/larkenfold/', import.meta.url).pathname;
const text = (page, selector) => page.locator(selector).innerText();

/** Waits until the map has been drawn since the last change. */
const settled = (page) => page.waitForTimeout(600);

async function saved(page, press) {
  const [download] = await Promise.all([page.waitForEvent('download'), press()]);
  return { name: download.suggestedFilename(), map: JSON.parse(await readFile(await download.path(), 'utf8')) };
}

// --- the walks -----------------------------------------------------------------

async function mouse(browser, url) {
  const { page, leave } = await visit(browser, url);
  check('nothing to design yet', await page.locator('#go').isDisabled());
  await accessible(page, 'empty');
  await picture(page, '1-empty');

  await page.click('#example');
  await said(page, `^${lots} lots found`);
  check('lots are counted', (await text(page, '#found')).includes(`${lots} lots`));
  await page.click('#found summary');
  check('layers are counted', /building\s+32/.test(await text(page, '#found')));
  await page.click('input[name="own"][value="replace"]');
  await page.fill('#headPressure', '-1');
  await page.click('#go');
  check('a wrong pressure is refused', (await text(page, '#fault')).includes('must be a number above 0'));
  await page.fill('#headPressure', '55');
  await page.click('#go');
  await said(page, `^${lots} lots designed`);
  await settled(page);
  await accessible(page, 'designed');
  await picture(page, '2-designed');
  check('heads are added up', /Heads\s+\d+/.test(await text(page, '#totals')));

  await choosing(page);
  await downloads(page, url);
  await comparing(page);
  await page.emulateMedia({ media: 'print' });
  check('it prints', (await page.pdf({ format: 'A4', path: pictures && `${pictures}/9-printed.pdf` })).length > 20_000);
  await leave();
}

async function choosing(page) {
  await page.click('.lots thead th:nth-child(3) button'); // heads
  const heads = await page.locator('.lots tbody tr:not(.room) td:nth-child(3)').allInnerTexts();
  assert.deepEqual(heads.map(Number), heads.map(Number).sort((a, b) => a - b), 'sorted by heads');
  await page.fill('#find', 'LK-07');
  check('filtered', (await text(page, '#table-count')) === `1 of ${lots} lots`);
  await page.click('button[data-lot="LK-07"]');
  await page.waitForSelector('#panel-title');
  await settled(page);
  check('its figures', /head(s)?\s+Proved/.test(await text(page, '#panel')), await text(page, '#panel'));
  check('in feet', (await text(page, '#panel')).includes(' ft'));
  await accessible(page, 'a lot');
  await picture(page, '3-lot');
  await page.click('input[name="units"][value="metric"]');
  await page.waitForFunction(() => /\d m\b/.test(document.getElementById('panel').textContent)); // it reads the design anew
  check('and in metres', (await page.inputValue('#headPressure')) === '379');
  await page.click('input[name="units"][value="us"]');
  check('and back', (await page.inputValue('#headPressure')) === '55');
  await page.fill('#find', '');
  await page.click('#panel button:has-text("Close")');
  await settled(page);
  await page.click('#map'); // in its middle
  await page.waitForSelector('#panel-title');
  check('the map chooses the lot it was moved to', (await text(page, '#panel-title')) === 'Lot LK-07');
  check('and the row with it', (await page.getAttribute('button[data-lot="LK-07"]', 'aria-pressed')) === 'true');
}

async function downloads(page, url) {
  const bare = example.features.map((f) => ({ ...f, properties: Object.fromEntries(Object.entries(f.properties).filter(([k]) => k === 'lot' || k === 'layer')) }));
  const answer = await fetch(`${url}v1/lots:design?head_pressure=55psi&coverage=97%25&costs=true`, {
    method: 'POST', headers: { 'Content-Type': 'application/geo+json' }, body: JSON.stringify({ type: 'FeatureCollection', features: bare }),
  });
  const direct = await answer.json();
  const all = await saved(page, () => page.click('#save'));
  assert.equal(all.name, 'larkenfold-designs.geojson');
  assert.deepEqual(all.map, direct, 'the page saves what the service answers');
  const one = await saved(page, () => page.click('#panel button:has-text("Download")'));
  assert.equal(one.name, 'LK-07.geojson');
  assert.deepEqual(one.map.features, direct.features.filter((f) => f.properties.lot === 'LK-07'));
  checks += 4;
}

async function comparing(page) {
  await page.fill('#pressures', '60');
  await page.click('#compare-go');
  check('one pressure is not enough', (await text(page, '#compare-fault')).includes('two to twelve'));
  await page.fill('#pressures', '70, 30 45');
  await page.click('#compare-go');
  await said(page, '^3 pressures compared');
  const rows = await page.locator('#scenario-table tbody tr').allInnerTexts();
  check('least pressure first', rows.length === 3 && rows[0].startsWith('30 psi'));
  check('30 psi is too little', /\b0 of 24\b/.test(rows[0]), rows[0]);
  await page.fill('#pressures', '45, 55, 70');
  await page.click('#compare-go');
  await said(page, '^3 pressures compared');
  const heads = (await page.locator('#scenario-table tbody tr td:nth-child(3)').allInnerTexts()).map(Number);
  check('more pressure, no more heads', heads[0] >= heads[1] && heads[1] >= heads[2] && heads[2] > 0, heads.join(' '));
  check('a chart', await page.locator('#chart canvas').isVisible());
  await settled(page);
  await accessible(page, 'compared');
  await page.locator('#scenarios').scrollIntoViewIfNeeded();
  await picture(page, '4-compared');
  await picture(page, '4-compared-whole', { fullPage: true });
}

/** Stopping, going on, and what goes wrong. */
async function trouble(browser, url) {
  const { page, leave } = await visit(browser, url);
  const drop = (name, content) => page.setInputFiles('#file', { name, mimeType: 'application/geo+json', buffer: Buffer.from(content) });
  for (const [name, content, words] of [
    ['empty.geojson', '', 'is empty'],
    ['broken.geojson', '{"type":', 'is not GeoJSON'],
    ['other.json', '{"a":1}', 'not a GeoJSON feature collection'],
    ['none.geojson', '{"type":"FeatureCollection","features":[]}', 'has no features'],
    ['a.zip', 'PK\u0003\u0004', 'a.zip: '],
    ['a.gpkg', 'SQLite format 3\u0000', 'a.gpkg: '],
  ]) {
    await drop(name, content);
    await page.waitForFunction((w) => document.getElementById('file-fault').textContent.includes(w), words);
    checks++;
  }
  const crossed = [[[-30.01, 40], [-30.0098, 40.0002], [-30.0098, 40], [-30.01, 40.0002], [-30.01, 40]]];
  const some = example.features.filter((f) => ['LK-01', 'LK-02', 'LK-03', 'LK-11'].includes(f.properties.lot));
  some.push({ type: 'Feature', properties: { lot: '<b>crossed</b>', layer: 'parcel' }, geometry: { type: 'Polygon', coordinates: crossed } });
  await drop('some.geojson', some.map((f) => JSON.stringify(f)).join('\n')); // a feature a line
  await said(page, '^5 lots found');
  await page.click('#go');
  await page.waitForFunction(() => document.getElementById('bar').value > 0);
  await page.click('#cancel');
  await said(page, 'not reached');
  await page.click('#rest');
  await said(page, '^4 lots designed, 1 not');
  check('an invalid lot says why', (await text(page, '#totals')).includes('1 lot with problems'));
  await page.click('#totals button');
  await page.click('.lots tbody th button');
  await page.waitForSelector('#panel .reason');
  check('its id is text', (await text(page, '#panel-title')) === 'Lot <b>crossed</b>');
  check('the rule and place', /(cross|self|ring|invalid)/i.test(await text(page, '#panel .reason')), await text(page, '#panel .reason'));
  await picture(page, '5-problem');
  await accessible(page, 'a problem');
  await page.route('**/v1/lots:design*', (r) => r.abort());
  await page.click('#go');
  await page.waitForFunction(() => document.getElementById('fault').textContent.includes('does not answer'));
  checks++;
  await leave(/ERR_FAILED|400 \(Bad Request\)/);
}

/** The whole job without a mouse. */
async function keyboard(browser, url) {
  const { page, leave } = await visit(browser, url);
  const reach = async (selector, key = 'Tab') => {
    for (let i = 0; i < 120; i++) {
      if (await page.evaluate((s) => document.activeElement?.matches(s), selector)) return;
      await page.keyboard.press(key);
    }
    assert.fail(`the keyboard does not reach ${selector}`);
  };
  await page.keyboard.press('Tab');
  check('first a way past the steps', await page.evaluate(() => document.activeElement.className === 'skip'));
  await reach('#example');
  await page.keyboard.press('Enter');
  await said(page, `^${lots} lots found`);
  await reach('input[name="way"]');
  await page.keyboard.press('ArrowDown');
  await page.keyboard.press('ArrowDown');
  check('the bucket warns', await page.locator('.warning[data-way="bucket"]').isVisible());
  await reach('#bucketSeconds');
  await page.keyboard.type('30');
  await reach('#go');
  await page.keyboard.press('Enter');
  await said(page, 'designed');
  await reach('#find');
  await page.keyboard.type('LK-1');
  await reach('.lots tbody th button');
  await page.keyboard.press('ArrowDown');
  await page.keyboard.press('Enter');
  await page.waitForFunction(() => document.activeElement?.id === 'panel-title');
  check('the second of the rows found', (await text(page, '#panel-title')) === 'Lot LK-11');
  await page.keyboard.press('Escape');
  check('back where it was', await page.evaluate(() => document.activeElement?.dataset.lot === 'LK-11'));
  await reach('#map', 'Shift+Tab');
  await page.keyboard.press('+');
  await page.keyboard.press('ArrowLeft');
  await reach('#legend summary');
  await page.keyboard.press('Enter');
  await reach('#legend input');
  await page.keyboard.press('Space');
  check('a layer is switched off', !(await page.locator('#legend input').first().isChecked()));
  await accessible(page, 'the legend');
  await leave();
}

/** A survey office's GeoPackage: tables confirmed, rotors, parts and sheet, heads moved by mouse and by keyboard. */
async function survey(browser, url) {
  const { page, leave } = await visit(browser, url);
  await page.setInputFiles('#file', `${demo}larkenfold.gpkg`);
  await page.waitForSelector('#confirm-read');
  const guessed = (name) => page.locator(`select[data-table="${name}"]`).inputValue();
  check('footprints are taken for buildings', (await guessed('building_footprints')) === 'building');
  check('and parcels for the lots', (await guessed('parcels')) === 'parcel');
  await accessible(page, 'tables');
  await picture(page, 'a-tables');
  const parcels = page.locator('select[data-table="parcels"]');
  await parcels.selectOption('');
  await page.click('#confirm-read');
  check('without lots it is not read', (await text(page, '#confirm .fault')).includes('which table holds the lots'));
  await parcels.selectOption('parcel');
  await page.selectOption('#lot-property', 'pin');
  await page.click('#confirm-read');
  await said(page, `^${lots} lots found`);
  check('what was doubtful is told', (await text(page, '#found')).includes('remarks on the files'));
  await page.click('input[name="own"][value="replace"]');
  await page.selectOption('#head', 'rotor');
  await page.selectOption('#effort', 'quick');
  await page.click('input[name="way"][value="test"]');
  await page.click('#on-the-way summary');
  await page.fill('#staticPressure', '70');
  await page.fill('#testFlow', '14');
  await page.fill('#testPressure', '60');
  await page.fill('#serviceLine', '-5');
  await page.click('#go');
  check('a service line has a length', (await text(page, '#fault')).includes('service line'));
  await page.fill('#serviceLine', '40');
  await page.selectOption('#meter', '3/4in');
  await page.click('#go');
  await page.waitForFunction(() => document.getElementById('bar').value >= 1);
  await page.click('#cancel');
  await page.waitForFunction(() => /designed/.test(document.getElementById('said').textContent));
  await page.selectOption('#filter', 'designed');
  await page.click('.lots tbody th button');
  await page.waitForSelector('.packet details');
  check('fixed arcs', (await text(page, '#panel')).includes('Fixed-arc heads'));
  await picture(page, 'b-rotors');
  await page.selectOption('#head', 'variable');
  await page.selectOption('#effort', 'default');
  await page.click('#go');
  await said(page, `^${lots} lots designed`);
  await costly(page);
  await packets(page, url);
  await dragging(page);
  await leave();
}

/** Costs are sorted by and bounded. */
async function costly(page) {
  await page.selectOption('#filter', 'all');
  await page.click('.lots thead th:has-text("Cost") button');
  const column = await page.locator('.lots thead th').allInnerTexts().then((all) => all.findIndex((t) => t.startsWith('Cost')) + 1);
  const shown = async () => (await page.locator(`.lots tbody tr:not(.room) td:nth-child(${column})`).allInnerTexts()).map((t) => Number(t.replace(',', '')));
  const costs = await shown();
  assert.deepEqual(costs, [...costs].sort((a, b) => a - b), 'sorted by cost');
  check('costs are known', costs.every((c) => c > 100));
  await page.selectOption('#bound-column', 'Cost');
  await page.fill('#bound-value', String(costs[2]));
  await page.selectOption('#bound-least', 'most');
  check('and bounded', (await text(page, '#table-count')).startsWith(`${(await shown()).length} of`) && (await shown()).every((c) => c <= costs[2]));
  await page.selectOption('#bound-column', '');
}

/** What a crew takes along is what the service gives for the lot. */
async function packets(page) {
  await page.fill('#find', 'LK-07');
  await page.click('button[data-lot="LK-07"]');
  await page.waitForSelector('.packet details');
  check('parts with a sum', /Parts: [\d,.]+/.test(await text(page, '.packet')));
  check('run times', (await text(page, '.packet')).includes('Run times'));
  await accessible(page, 'parts');
  await page.locator('.packet').scrollIntoViewIfNeeded();
  check('its house is drawn', (await page.evaluate(() => [...document.querySelectorAll('#map canvas')].some((c) => {
    const data = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
    let n = 0;
    for (let i = 0; i < data.length; i += 4) if (data[i] === 196 && data[i + 1] === 196 && data[i + 2] === 196) n++;
    return n > 2000;
  }))));
  await picture(page, 'c-parts');
  const take = async (words) => {
    const [file] = await Promise.all([page.waitForEvent('download'), page.click(`.packet button:has-text("${words}")`)]);
    return { name: file.suggestedFilename(), bytes: await readFile(await file.path()) };
  };
  const sheet = await take('Field sheet (PDF)');
  check('a sheet as PDF', sheet.name === 'LK-07-sheet.pdf' && sheet.bytes.subarray(0, 5).toString() === '%PDF-');
  const svg = await take('(SVG)');
  check('and as SVG', svg.bytes.includes('<svg') && svg.bytes.includes('LK-07'));
  const network = await take('EPANET');
  check('a network', network.bytes.includes('[PIPES]'));
  const all = await take('All of it');
  check('all of it', all.name === 'LK-07.zip' && all.bytes.subarray(0, 2).toString() === 'PK');
}

/** Heads are moved: by the keyboard, by the mouse, undone, kept and designed around. */
async function dragging(page) {
  const figure = async () => (await text(page, '#panel')).match(/Coverage\s+([\d.]+ %)/)[1];
  const before = await figure();
  await page.click('[data-tool="start"]');
  await page.waitForSelector('[data-head="H1"]');
  check('the first head has the focus', await page.evaluate(() => document.activeElement.dataset.head === 'H1'));
  for (let i = 0; i < 12; i++) await page.keyboard.press('ArrowLeft');
  await page.waitForFunction(() => /dry\. As designed/.test(document.getElementById('moved').textContent));
  await settled(page);
  check('twelve feet away it reaches less', parseFloat(await figure()) < parseFloat(before), await figure());
  check('the focus stays', await page.evaluate(() => document.activeElement.dataset.head === 'H1'));
  check('nothing is proved any more', (await text(page, '#panel')).includes('Moved by hand'));
  await accessible(page, 'heads moved');
  await picture(page, 'd-moved');
  for (let i = 0; i < 12; i++) await page.click('[data-tool="undo"]');
  await page.waitForFunction((b) => document.getElementById('panel').textContent.includes(`${b}, target`), before);
  check('undone, it is as designed', !(await text(page, '#panel')).includes('Moved by hand'));

  const stood = await places(page);
  const spot = await headOnMap(page);
  await page.mouse.move(spot.x, spot.y);
  await page.mouse.down();
  await page.mouse.move(spot.x - 16, spot.y + 12, { steps: 8 });
  await page.mouse.up();
  await page.waitForFunction((b) => !document.getElementById('panel').textContent.includes(`${b}, target`), before);
  const moved = await places(page);
  check('only that head moved', stood.filter((at, i) => at !== moved[i]).length === 1, moved.join(' '));
  check('dragged by the mouse', (await text(page, '#panel')).includes('heads moved by hand'));
  check('and said on the map', (await text(page, '#map-note')).includes('reached'));
  await settled(page);
  await picture(page, 'e-dragged');
  const heads = await page.locator('[data-keep]').count();
  const [head, put] = moved.find((at, i) => at !== stood[i]).split(' ');
  await page.check(`[data-keep="${head}"]`);
  await page.click('[data-tool="again"]');
  await page.waitForFunction(() => document.getElementById('panel').textContent.includes('1 head of them kept where it stands') && document.querySelectorAll('[data-keep]:checked').length === 1);
  check('designed around the kept head', (await page.locator('[data-keep]').count()) >= heads);
  const again = await places(page);
  check('which stands where it was put', again.some((at) => at.endsWith(` ${put}`)), put, ...again);
  await page.click('[data-tool="stop"]');
  await page.waitForSelector('.packet details');
}

/** Where the heads stand, by the file of the lot. */
async function places(page) {
  const { map } = await saved(page, () => page.click('#panel button:has-text("Download this lot")'));
  return map.features.filter((f) => f.properties.layer === 'head').map((f) => `${f.properties.head} ${f.geometry.coordinates.join(',')}`);
}

/** Where the map shows the topmost of the heads that can be moved, which nothing else is coloured as. */
async function headOnMap(page) {
  await settled(page);
  return page.evaluate(() => {
    const box = document.getElementById('map').getBoundingClientRect();
    let [sx, sy, n] = [0, 0, 0];
    for (const canvas of document.querySelectorAll('#map canvas')) {
      const { width, height } = canvas;
      const data = canvas.getContext('2d').getImageData(0, 0, width, height).data;
      for (let y = 0; y < height; y++) for (let x = 0; x < width; x++) {
        const i = 4 * (y * width + x);
        if (data[i] !== 230 || data[i + 1] !== 159 || data[i + 2] !== 0 || data[i + 3] !== 255) continue;
        if (n > 0 && Math.hypot(x - sx / n, y - sy / n) > 14) continue; // another head
        [sx, sy, n] = [sx + x, sy + y, n + 1];
      }
    }
    return { x: box.left + sx / n, y: box.top + sy / n };
  });
}

/** A service that keeps batches and knows its callers. */
async function keyed(browser) {
  const folder = await mkdtemp(join(tmpdir(), 'batches-'));
  const printed = await run(program, 'keys', 'add', '--keys', join(folder, 'keys.json'), '--tenant', 'elm');
  const key = printed.trim().split(/\s+/).pop();
  const service = await startService(program, '--data', join(folder, 'data'), '--keys', join(folder, 'keys.json'));
  const { page, leave } = await visit(browser, service.url);
  const give = async (words) => {
    await page.waitForSelector('#key-dialog[open]');
    await page.fill('#key', words);
    await page.click('#key-give');
  };
  await page.click('#stored summary');
  await page.waitForSelector('#key-dialog[open]');
  await accessible(page, 'a key');
  await picture(page, 'f-key');
  await give('wrong');
  await page.waitForFunction(() => document.getElementById('key-dialog').open && document.getElementById('key').value === '');
  await give(key);
  await page.waitForFunction(() => document.getElementById('batch').textContent.includes('none yet'));
  checks++;
  check('the key is kept in memory only', await page.evaluate((k) => !JSON.stringify([{ ...localStorage }, { ...sessionStorage }, document.cookie]).includes(k), key));

  await fillBatch(service, key);
  await page.click('#batch-list');
  await page.waitForFunction(() => document.getElementById('batch').textContent.includes('not designed'));
  await page.click('#batch-show');
  await said(page, 'no designs yet');
  await page.fill('#coverage', '60');
  await page.click('#go');
  await said(page, '^3 lots designed');
  check('three rows', (await page.locator('button[data-lot]').count()) === 3);
  await page.click('button[data-lot="LK-02"]');
  await page.waitForSelector('#panel-title');
  check('figures of what is kept', /head(s)?\s/.test(await text(page, '#panel')));
  await settled(page);
  await accessible(page, 'a batch');
  await picture(page, 'g-batch');
  await page.click('#stored summary');
  await page.click('#stored summary');
  await page.waitForFunction(() => document.getElementById('batch').textContent.includes('revision 1'));
  checks++;
  await leave(/401 \(Unauthorized\)/);
  await service.stop();
  await rm(folder, { recursive: true });
}

/** A batch of three lots, made as programs do. */
async function fillBatch(service, key) {
  const headers = { Authorization: `Bearer ${key}`, 'Content-Type': 'application/json' };
  const made = await fetch(`${service.url}v1/batches`, { method: 'POST', headers, body: JSON.stringify({ batch_id: 'elm', batch: { title: 'Elm Street' } }) });
  assert.equal(made.status, 200, await made.text());
  const polygons = example.features.filter((f) => f.geometry.type === 'Polygon' && f.properties.layer !== 'bed');
  await importLots(service.grpc, key, 'batches/elm', ['LK-01', 'LK-02', 'LK-03'].map((lot) => [lot, polygons.filter((f) => f.properties.lot === lot)]));
}

/** Other colours, another width. */
async function looks(browser, url, name, options) {
  const { page, leave } = await visit(browser, url, options);
  await page.click('#example');
  await said(page, 'lots found');
  await page.fill('#coverage', '60'); // quickly done
  await page.click('#go');
  await said(page, 'designed');
  await settled(page);
  await picture(page, `6-${name}`, { fullPage: true });
  await page.click('button[data-lot="LK-03"]');
  await page.click('#legend summary');
  await settled(page);
  await accessible(page, name);
  await picture(page, `7-${name}-lot`);
  const wide = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
  check(`${name}: nothing sticks out sideways`, wide <= 0, wide);
  await leave();
}

/** Ten thousand lots: the page answers all the while. */
async function crowd(browser, url) {
  const town = await manyLots(url, example, 10_000);
  const { page, leave } = await visit(browser, town.url);
  await page.evaluate(() => {
    globalThis.longest = 0;
    new PerformanceObserver((l) => l.getEntries().forEach((e) => (globalThis.longest = Math.max(globalThis.longest, e.duration)))).observe({ type: 'longtask' });
  });
  const began = Date.now();
  await page.setInputFiles('#file', town.file);
  await said(page, '^10,000 lots found');
  await page.waitForSelector('button[data-lot]');
  const painted = Date.now() - began;
  await page.click('#go');
  await page.waitForFunction(() => document.getElementById('bar').value > 2000);
  const before = Date.now();
  await page.click('button[data-lot]');
  await page.waitForSelector('#panel-title');
  const clicked = Date.now() - before;
  await said(page, '^10,000 lots designed');
  const done = Date.now() - began;
  check('few rows in the document', (await page.locator('.lots tbody tr').count()) < 60);
  await page.click('#whole');
  await settled(page);
  await picture(page, '8-crowd');
  const pan = await page.evaluate(async () => {
    const map = document.getElementById('map');
    map.focus();
    const start = performance.now();
    for (let i = 0; i < 10; i++) {
      map.dispatchEvent(new KeyboardEvent('keydown', { key: 'ArrowRight', bubbles: true }));
      await new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r)));
    }
    return (performance.now() - start) / 10;
  });
  const longest = await page.evaluate(() => globalThis.longest);
  console.log(`10,000 lots: in the table after ${painted} ms; a click while designs come in ${clicked} ms; all in after ${done} ms; a step of the map ${pan.toFixed(0)} ms; longest the page did not answer ${longest.toFixed(0)} ms`);
  await leave();
  await town.close();
}

const walks = {
  mouse,
  trouble,
  keyboard,
  survey,
  keyed,
  dark: (b, url) => looks(b, url, 'dark', { colorScheme: 'dark' }),
  phone: (b, url) => looks(b, url, 'phone', { viewport: { width: 390, height: 844 }, deviceScaleFactor: 2, hasTouch: true, isMobile: true }),
  crowd,
};

const service = await startService(program);
const browser = await chromium.launch({ executablePath: process.env.LOTWRIGHT_CHROMIUM ?? '/usr/bin/chromium', args: ['--no-sandbox'] });
try {
  for (const [name, walk] of Object.entries(walks)) if (only.length === 0 || only.includes(name)) await walk(browser, service.url);
  console.log(`${checks} checks of the page passed`);
} finally {
  await browser.close();
  await service.stop();
}
