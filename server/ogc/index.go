package ogc

import (
	"cmp"
	"fmt"
	"slices"
	"sort"

	"lotwright/server/store"
)

// Room for what is kept: of the bounds of all features, some nine million; of
// features as they are written, those of some thousand lots.
const (
	indexRoom = 256 << 20
	lotRoom   = 64 << 20
)

// readAtOnce is how many designs are read from the store at a time.
const readAtOnce = 20

// indexKey names a revision: operations have names of their own.
type indexKey struct {
	tenant    store.Tenant
	operation string
}

// index is where the features of a revision lie. It is made by one reading of
// the whole and does not change.
type index struct {
	operation store.Operation // the zero one before a batch's first revision
	lots      []lotRow        // by number
	tables    map[string]*table
	bounds    bounds
}

type lotRow struct {
	number int
	id     string
	status store.Status
}

// table is a layer.
type table struct {
	entries []entry // by lot, then in the order of writing
	bounds  bounds
}

// entry is a feature.
type entry struct {
	lot    int32 // its number
	nth    int32 // of the lot's features in the layer, from 1
	bounds bounds
}

// perLot sets ids of features apart by lot.
const perLot = 1000000

// id numbers the features of a layer. Numbers, since mapping tools keep them as
// their own ids and do not make a column of them.
func (e entry) id() int64 { return int64(e.lot)*perLot + int64(e.nth) }

func (x *index) weight() int {
	n := 0
	for _, t := range x.tables {
		n += len(t.entries)
	}
	const entrySize, rowSize = 28, 64
	return n*entrySize + len(x.lots)*rowSize
}

// complete is the revision that is shown: the one asked for or, for 0, the latest
// that is not in the making. Before the first there is none, which is the zero
// one.
func (c call) complete(revision int) (store.Operation, error) {
	latest := revision
	if revision == 0 {
		latest = c.batch.Revision
	}
	if latest == 0 {
		return store.Operation{}, nil
	}
	o, err := c.options.Store.OperationOf(c.ctx, c.tenant, c.batch.ID, latest)
	switch {
	case err != nil || o.State != store.Running:
		return o, err
	case revision != 0:
		return o, badRequest("revision %d is being made", revision)
	case latest == 1:
		return store.Operation{}, nil
	}
	return c.options.Store.OperationOf(c.ctx, c.tenant, c.batch.ID, latest-1) // one runs at a time
}

// index returns that of a revision; 0 is the latest.
func (c call) index(revision int) (*index, error) {
	o, err := c.complete(revision)
	if err != nil || o.Revision == 0 {
		return emptyIndex(o), err
	}
	return c.indexes.get(c.ctx, indexKey{c.tenant, o.ID}, func() (*index, error) { return c.read(o) })
}

func emptyIndex(o store.Operation) *index {
	x := &index{operation: o, tables: map[string]*table{}}
	for _, l := range layers {
		x.tables[l.Name] = &table{}
	}
	return x
}

// read goes through all designs of a revision.
func (c call) read(o store.Operation) (*index, error) {
	x := emptyIndex(o)
	err := c.eachDesign(o, func(d store.Design) error {
		f, err := c.apart(d)
		if err != nil {
			return err
		}
		return x.add(d, f)
	})
	return x, err
}

// eachDesign calls visit with every design of a revision, by number of the lot.
func (c call) eachDesign(o store.Operation, visit func(store.Design) error) error {
	for after := 0; ; {
		list, err := c.options.Store.Designs(c.ctx, c.tenant, o.Batch, o.Revision, after, readAtOnce)
		if err != nil || len(list) == 0 {
			return err
		}
		for _, d := range list {
			if err := visit(d); err != nil {
				return err
			}
			after = d.Number
		}
	}
}

func (x *index) add(d store.Design, f lotFeatures) error {
	x.lots = append(x.lots, lotRow{d.Number, d.Lot, d.Status})
	for name, list := range f.byLayer {
		t, ok := x.tables[name]
		if !ok || len(list) >= perLot {
			return fmt.Errorf("design of lot %q: %d features in a layer %q", d.Lot, len(list), name)
		}
		for i, e := range list {
			b, err := boundsOf(e)
			if err != nil {
				return fmt.Errorf("design of lot %q: %w", d.Lot, err)
			}
			t.entries = append(t.entries, entry{int32(d.Number), int32(i + 1), b})
			t.bounds = t.bounds.with(b)
			x.bounds = x.bounds.with(b)
		}
	}
	return nil
}

// lot finds a lot by number.
func (x *index) lot(number int) (lotRow, bool) {
	i, ok := slices.BinarySearchFunc(x.lots, number, func(l lotRow, n int) int { return cmp.Compare(l.number, n) })
	if !ok {
		return lotRow{}, false
	}
	return x.lots[i], true
}

// behind are the entries whose ids are greater than one.
func behind(entries []entry, id int64) []entry {
	return entries[sort.Search(len(entries), func(i int) bool { return entries[i].id() > id }):]
}

// lotKey names the design of a lot.
type lotKey struct {
	indexKey
	number int
}

// lotFeatures are the features of a lot.
type lotFeatures struct {
	byLayer map[string][]encoded
	size    int
}

func (f lotFeatures) weight() int { return f.size }

// apart takes a design apart.
func (c call) apart(d store.Design) (lotFeatures, error) {
	list, err := c.options.Features(d)
	if err != nil {
		return lotFeatures{}, err
	}
	f := lotFeatures{byLayer: map[string][]encoded{}}
	for _, text := range list {
		e, err := cut(text)
		if err != nil {
			return f, fmt.Errorf("design of lot %q: %w", d.Lot, err)
		}
		f.byLayer[e.layer] = append(f.byLayer[e.layer], e)
		f.size += len(text)
	}
	return f, nil
}

// feature reads a feature. With it come those of the lot, and of the lots behind
// it up to last, which are likely to be asked for next.
func (c call) feature(x *index, layer string, e entry, last int32) (encoded, error) {
	key := lotKey{indexKey{c.tenant, x.operation.ID}, int(e.lot)}
	f, err := c.lots.get(c.ctx, key, func() (lotFeatures, error) { return c.lotsFrom(x, key, int(last)) })
	if err != nil {
		return encoded{}, err
	}
	list := f.byLayer[layer]
	if int(e.nth) > len(list) {
		return encoded{}, fmt.Errorf("bug in feature: lot %d has no %s %d", e.lot, layer, e.nth)
	}
	return list[e.nth-1], nil
}

// lotsFrom reads a lot and, in the same go, some behind it.
func (c call) lotsFrom(x *index, key lotKey, last int) (first lotFeatures, err error) {
	n := min(max(last-key.number+1, 1), readAtOnce)
	list, err := c.options.Store.Designs(c.ctx, c.tenant, x.operation.Batch, x.operation.Revision, key.number-1, n)
	if err != nil {
		return first, err
	}
	if len(list) == 0 || list[0].Number != key.number {
		return first, fmt.Errorf("the design of lot number %d: %w", key.number, store.ErrNotFound) // the batch was deleted meanwhile
	}
	for i, d := range list {
		if i == 0 {
			if first, err = c.apart(d); err != nil {
				return first, err
			}
			continue
		}
		other := lotKey{key.indexKey, d.Number}
		if _, err := c.lots.get(c.ctx, other, func() (lotFeatures, error) { return c.apart(d) }); err != nil {
			return first, err
		}
	}
	return first, nil
}
