package design_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lotwright/importer/assemble"
	"lotwright/layout"
	"lotwright/layout/candidate"
	"lotwright/layout/design"
	"lotwright/layout/geom"
	"lotwright/layout/setcover"
	"lotwright/layout/sight"
	"lotwright/layout/trench"
)

// surveyedLots are every third of the surveyed lots of the reference data.
func surveyedLots(b *testing.B) []*layout.Lot {
	var lots []*layout.Lot
	for i, lot := range allSurveyedLots(b) {
		if i%3 == 0 {
			lots = append(lots, lot)
		}
	}
	return lots
}

func allSurveyedLots(b testing.TB) []*layout.Lot {
	batch, err := assemble.Open(context.Background(),
		[]assemble.Input{{Path: "../../testdata/reference/lots_A.geojson"}}, assemble.Options{})
	require.NoError(b, err)
	defer batch.Close()
	var lots []*layout.Lot
	for i := range batch.Len() {
		item := batch.Lot(i)
		require.NotNil(b, item.Lot)
		lots = append(lots, item.Lot)
	}
	return lots
}

// prepared is a lot with what each stage hands to the next.
type prepared struct {
	lot    *layout.Lot
	lawn   geom.Region
	cover  setcover.Problem
	design *layout.Design
}

const benchThrowMM = 9144 // 30 ft, at 55 psi

var benchClearances = candidate.Clearances{EdgeMM: 100, BuildingMM: 300}

func prepare(b *testing.B, lot *layout.Lot) prepared {
	lawn, err := candidate.Irrigated(lot, candidate.LawnSettings{LeastStripMM: 600})
	require.NoError(b, err)
	d, err := design.Run(context.Background(), lot, gauged(55))
	require.NoError(b, err)
	ground, err := candidate.NewGround(lot, lawn.Region, benchClearances)
	require.NoError(b, err)
	return prepared{lot: lot, lawn: lawn.Region, cover: coverProblem(lawn.Region, ground), design: d}
}

// coverProblem is the cover matrix as placement builds it.
func coverProblem(lawn geom.Region, ground *candidate.Ground) setcover.Problem {
	var p setcover.Problem
	total := int64(0)
	witnesses := candidate.Witnesses(lawn, 1000)
	for _, w := range witnesses {
		p.Weights = append(p.Weights, w.AreaMM2)
		total += w.AreaMM2
	}
	p.Spare = total * 3 / 100
	field := sight.NewField(lawn)
	for _, s := range ground.Spots(1000) {
		reach := field.From(s, benchThrowMM, 0)
		first, _ := slices.BinarySearchFunc(witnesses, s.X-benchThrowMM, func(w candidate.Witness, x int64) int { return int(w.At.X - x) })
		var rows []int32
		for i := first; i < len(witnesses) && witnesses[i].At.X <= s.X+benchThrowMM; i++ {
			if reach.Sees(witnesses[i].At) {
				rows = append(rows, int32(i))
			}
		}
		p.Columns = append(p.Columns, rows)
	}
	return p
}

// BenchmarkRun times the whole design and each stage by itself on what the
// stage before it hands over, over the surveyed lots; ms/lot is the mean. What
// the whole takes beyond the stages is the polishing of the heads.
func BenchmarkRun(b *testing.B) {
	var lots []prepared
	for _, lot := range surveyedLots(b) {
		lots = append(lots, prepare(b, lot))
	}
	ctx := context.Background()
	heads := 0
	for _, l := range lots {
		heads += len(l.design.Heads)
	}
	stages := []struct {
		name string
		run  func(prepared) error
	}{
		{"candidates", func(l prepared) error {
			lawn, err := candidate.Irrigated(l.lot, candidate.LawnSettings{LeastStripMM: 600})
			if err != nil {
				return err
			}
			ground, err := candidate.NewGround(l.lot, lawn.Region, benchClearances)
			ground.Spots(1000)
			candidate.Witnesses(lawn.Region, 1000)
			return err
		}},
		{"candidates+matrix", func(l prepared) error {
			ground, err := candidate.NewGround(l.lot, l.lawn, benchClearances)
			coverProblem(l.lawn, ground)
			return err
		}},
		{"setcover", func(l prepared) error {
			_, err := setcover.Solve(ctx, l.cover, setcover.Settings{})
			return err
		}},
		{"trench", func(l prepared) error {
			_, err := trench.Route(ctx, l.lot, l.design.Heads, trench.Settings{})
			return err
		}},
		{"total, discrete proof", func(l prepared) error {
			_, err := design.Run(ctx, l.lot, gauged(55))
			return err
		}},
		{"total", func(l prepared) error {
			s := gauged(55)
			s.Effort.Boxes = 0
			_, err := design.Run(ctx, l.lot, s)
			return err
		}},
	}
	for _, stage := range stages {
		b.Run(stage.name, func(b *testing.B) {
			for b.Loop() {
				for _, l := range lots {
					require.NoError(b, stage.run(l))
				}
			}
			b.ReportMetric(float64(b.Elapsed().Milliseconds())/float64(b.N*len(lots)), "ms/lot")
			b.ReportMetric(float64(heads), "heads")
		})
	}
}

// smallLotM2 is the size of lot that most of a subdivision is made of.
const smallLotM2 = 800

// BenchmarkSmallLots times the whole default design of each surveyed lot of at
// most [smallLotM2]. Run with -cpu 1: the times are of the wall clock.
func BenchmarkSmallLots(b *testing.B) {
	s := gauged(55)
	s.Effort.Boxes = 0
	var took []time.Duration
	lots := slices.DeleteFunc(allSurveyedLots(b), func(lot *layout.Lot) bool { return lot.Parcel.AreaM2() > smallLotM2 })
	for b.Loop() {
		for _, lot := range lots {
			start := time.Now()
			_, err := design.Run(context.Background(), lot, s)
			took = append(took, time.Since(start))
			require.NoError(b, err)
		}
	}
	slices.Sort(took)
	quantile := func(percent int) float64 { return took[(len(took)-1)*percent/100].Seconds() * 1000 }
	b.ReportMetric(quantile(50), "ms/lot-median")
	b.ReportMetric(quantile(99), "ms/lot-p99")
	b.ReportMetric(float64(len(lots)), "lots")
}
