// Package join gives features that carry no lot id to parcels by place: areas
// and walls to every parcel they cover more than a sliver of, since each lot
// must see what stands on it; points, and lines that lie in no parcel, to the
// nearest. Overlaps are measured in a plane of the parcel's own, not in degrees.
package join

import (
	"cmp"
	"context"
	"runtime"
	"slices"
	"sync"

	"github.com/tidwall/rtree"
	"golang.org/x/sync/errgroup"

	"lotwright/importer"
	"lotwright/importer/project"
	"lotwright/layout"
)

// Set is a sequence of features that are loaded one at a time. It must be safe
// for concurrent use.
type Set interface {
	Len() int
	// Bounds returns the bounds of a feature in degrees; false when it has none.
	Bounds(i int) (importer.Bounds, bool)
	Feature(i int) importer.Feature
}

// Match gives a feature to a parcel; both are indices into their sets.
type Match struct{ Feature, Parcel int }

// Tolerances of the join.
const (
	// SnapMetres is how far outside every parcel a point or line may lie and
	// still be given to the nearest.
	SnapMetres = 0.5
	// SliverWidthMM: what a feature covers of a parcel in no place wider than
	// this is the disagreement of two surveys, not a part of the feature.
	SliverWidthMM = 200
	// SliverArea is the least area in m² that counts at all.
	SliverArea = 0.1
	// DoubtfulShare is the share of a feature in its best parcel below which
	// the join is remarked on.
	DoubtfulShare = 0.6
)

// mostRemarks bounds the findings of one rule in one file; the rest are counted.
const mostRemarks = 1000

// Features gives each feature to the parcels it belongs to. Matches come in the
// order of features, then parcels; findings tell of features that belong to
// none, and of those whose best parcel holds less than [DoubtfulShare] of them.
//
// A feature that cannot be read is given to every parcel near it, which it then
// refuses; one that has no place on the Earth, or cannot be read and lies near no
// parcel, is an *importer.Refusal, since it might be somebody's building.
func Features(ctx context.Context, parcels, features Set) ([]Match, []importer.Finding, error) {
	var tree rtree.RTreeG[int]
	for j := range features.Len() {
		box, ok := features.Bounds(j)
		if ok && !isPlace(box) {
			return nil, nil, refuse(features.Feature(j), noPlace(box))
		}
		if ok {
			tree.Insert(box.Min, box.Max, j)
		}
	}
	hits, err := measureAll(ctx, parcels, features, &tree)
	if err != nil {
		return nil, nil, err
	}
	s := settler{parcels: parcels, features: features, remarks: map[remarkKey]int{}}
	for j := range features.Len() {
		n := 0
		for n < len(hits) && hits[n].feature == j {
			n++
		}
		if err := s.settle(j, hits[:n]); err != nil {
			return nil, nil, err
		}
		hits = hits[n:]
	}
	s.countRest()
	return s.matches, s.findings, nil
}

// refuse makes the refusal of a request out of the fault of one feature.
func refuse(x importer.Feature, f importer.Finding) *importer.Refusal {
	f = f.Of(x)
	f.Scope = importer.ScopeRequest
	return &importer.Refusal{Finding: f}
}

// notDegrees: beyond it a number is no angle but a length.
const notDegrees = 360

func noPlace(b importer.Bounds) importer.Finding {
	rule := "coords.out_of_range"
	if max(-b.Min[0], -b.Min[1], b.Max[0], b.Max[1]) > notDegrees {
		rule = "coords.looks_projected"
	}
	return importer.Fault(rule, "%g, %g is no usable longitude and latitude; send WGS 84 degrees, or name the system in a crs member",
		b.Max[0], b.Max[1])
}

// isPlace reports whether bounds in degrees can be on the Earth, away from the
// poles.
func isPlace(b importer.Bounds) bool {
	return b.Min[0] >= -180 && b.Max[0] <= 180 && b.Min[1] >= -85 && b.Max[1] <= 85
}

// hit is what one parcel has of one feature.
type hit struct {
	feature, parcel int
	measure
}

// measureAll measures every feature against every parcel near it.
func measureAll(ctx context.Context, parcels, features Set, tree *rtree.RTreeG[int]) ([]hit, error) {
	var (
		mu   sync.Mutex
		hits []hit
	)
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(runtime.GOMAXPROCS(0))
	for from := 0; from < parcels.Len(); from += chunk {
		group.Go(func() error {
			for i := from; i < min(from+chunk, parcels.Len()); i++ {
				if err := ctx.Err(); err != nil {
					return err
				}
				mine := measureParcel(i, parcels, features, tree)
				mu.Lock()
				hits = append(hits, mine...)
				mu.Unlock()
			}
			return nil
		})
	}
	if err := group.Wait(); err != nil {
		return nil, err
	}
	slices.SortFunc(hits, func(a, b hit) int {
		return cmp.Or(cmp.Compare(a.feature, b.feature), cmp.Compare(a.parcel, b.parcel))
	})
	return hits, nil
}

// chunk is the number of parcels one worker takes at a time.
const chunk = 64

// measureParcel measures the features near one parcel. If that cannot be done,
// all of them are given to it: its lot will say what is wrong.
func measureParcel(i int, parcels, features Set, tree *rtree.RTreeG[int]) (hits []hit) {
	box, ok := parcels.Bounds(i)
	if !ok || !isPlace(box) {
		return nil
	}
	wide := project.Near(box, SnapMetres)
	var near []int
	tree.Search(wide.Min, wide.Max, func(_, _ [2]float64, j int) bool {
		near = append(near, j)
		return true
	})
	if len(near) == 0 {
		return nil
	}
	slices.Sort(near)
	defer func() {
		if recover() == nil {
			return
		}
		hits = hits[:0]
		for _, j := range near {
			hits = append(hits, hit{j, i, measure{share: 1}})
		}
	}()
	m, ok := newMeter(parcels.Feature(i), wide)
	if !ok {
		return nil
	}
	for _, j := range near {
		if v := m.measure(features.Feature(j)); v.counts() {
			hits = append(hits, hit{j, i, v})
		}
	}
	return hits
}

// settler turns hits into matches and findings.
type settler struct {
	parcels, features Set
	matches           []Match
	findings          []importer.Finding
	remarks           map[remarkKey]int
}

type remarkKey struct{ file, rule string }

// settle gives one feature to the parcels that hit it.
func (s *settler) settle(j int, hits []hit) error {
	if len(hits) == 0 {
		x := s.features.Feature(j)
		if f, bad := importer.FirstError(x.Findings); bad {
			return refuse(x, f)
		}
		s.remark(j, "join.orphan", "the feature belongs to no parcel and was left out")
		return nil
	}
	best := slices.MaxFunc(hits, func(a, b hit) int {
		return cmp.Or(cmp.Compare(a.share, b.share), cmp.Compare(b.distance, a.distance), cmp.Compare(b.parcel, a.parcel))
	})
	if best.share == 0 { // a point, or a line beside all parcels
		s.matches = append(s.matches, Match{j, best.parcel})
		return nil
	}
	for _, h := range hits {
		if h.share > 0 {
			s.matches = append(s.matches, Match{j, h.parcel})
		}
	}
	if best.share < DoubtfulShare {
		s.remark(j, "join.doubtful", "the best parcel holds only %.0f %% of the feature; each parcel was given its part", 100*best.share)
	}
	return nil
}

// remark files a finding about a feature, with its place.
func (s *settler) remark(j int, rule, format string, args ...any) {
	x := s.features.Feature(j)
	key := remarkKey{x.File, rule}
	if s.remarks[key]++; s.remarks[key] > mostRemarks {
		return
	}
	f := importer.Found(layout.SeverityWarning, rule, format, args...).Of(x)
	f.Lot = ""
	if box, ok := s.features.Bounds(j); ok {
		f = f.At(box.Center())
	}
	s.findings = append(s.findings, f)
}

// countRest tells how many remarks were not listed.
func (s *settler) countRest() {
	var rest []importer.Finding
	for key, n := range s.remarks {
		if n > mostRemarks {
			f := importer.Found(layout.SeverityWarning, key.rule, "and %d more like these", n-mostRemarks)
			f.File = key.file
			rest = append(rest, f)
		}
	}
	importer.SortFindings(rest)
	s.findings = append(s.findings, rest...)
}
