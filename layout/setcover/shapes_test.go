package setcover_test

import (
	"math/bits"
	"math/rand/v2"

	"lotwright/layout/setcover"
)

// foursOfOneColour asks for the fewest sets of four among n points such that
// however the points get two colours, not all one, a set is of one colour: the
// problem CLR of Grossman and Wool (1997). With 10 points it takes 25 sets and
// with 11 or more 23 (Toft 1975; that fewer never do is Östergård 2014).
func foursOfOneColour(n int) setcover.Problem {
	var p setcover.Problem
	for colours := 1; colours < 1<<(n-1); colours++ { // the last point keeps its colour
		p.Weights = append(p.Weights, 1)
	}
	for set := range 1 << n {
		if bits.OnesCount(uint(set)) != 4 {
			continue
		}
		var col []int32
		for r := range p.Weights {
			if both := (r + 1) & set; both == 0 || both == set {
				col = append(col, int32(r))
			}
		}
		p.Columns = append(p.Columns, col)
	}
	return p
}

// shape is the size of one of the random sets of the OR-Library.
type shape struct {
	set           string
	rows, columns int
	density       float64 // share of the rows that a column covers
}

// shapes are sets 4 to 6 and A to D (Balas and Ho 1980; Beasley 1987).
var shapes = []shape{
	{"4", 200, 1000, 0.02}, {"5", 200, 2000, 0.02}, {"6", 200, 1000, 0.05},
	{"A", 300, 3000, 0.02}, {"B", 300, 3000, 0.05}, {"C", 400, 4000, 0.02}, {"D", 400, 4000, 0.05},
}

// random is an instance of the shape in the way those sets were made: every
// column covers a row, every row is covered twice, the rest is chance.
func (s shape) random(seed uint64) setcover.Problem {
	rng := rand.New(rand.NewPCG(seed, 1980))
	in := make([]bool, s.rows*s.columns)
	left := int(float64(len(in)) * s.density)
	put := func(r, c int) {
		if !in[r*s.columns+c] {
			in[r*s.columns+c] = true
			left--
		}
	}
	for c := range s.columns {
		put(rng.IntN(s.rows), c)
	}
	for r := range s.rows {
		put(r, rng.IntN(s.columns))
		put(r, rng.IntN(s.columns))
	}
	for left > 0 {
		put(rng.IntN(s.rows), rng.IntN(s.columns))
	}
	p := setcover.Problem{Columns: make([][]int32, s.columns)}
	for r := range s.rows {
		p.Weights = append(p.Weights, 1)
		for c := range s.columns {
			if in[r*s.columns+c] {
				p.Columns[c] = append(p.Columns[c], int32(r))
			}
		}
	}
	return p
}
