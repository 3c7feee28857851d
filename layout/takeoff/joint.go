package takeoff

import (
	"maps"
	"slices"
	"strings"

	"lotwright/layout"
)

// socket is a number of ends of pipe in fittings of one size.
type socket struct {
	material, size string
	n              int
	label          string
}

func (j *job) socket(p layout.PipeRun, n int) {
	if n > 0 {
		j.sockets = append(j.sockets, socket{p.Material, p.Size, n, p.Label})
	}
}

// jointsPerQuart is how many joints a quart of cement makes, by size in
// thousandths of an inch (trade practice, good to some 30 %); 1-1/4 in is
// between its neighbours. Larger pipe takes what 2 in takes.
var jointsPerQuart = map[int]int{500: 300, 750: 200, 1000: 125, 1250: 105, 1500: 90, 2000: 60}

// quartsPerJoint returns the cement for a joint of a size: that of the next size
// that is known.
func quartsPerJoint(size string) float64 {
	d, _ := nominal(size)
	for _, known := range slices.Sorted(maps.Keys(jointsPerQuart)) {
		if d <= known {
			return 1 / float64(jointsPerQuart[known])
		}
	}
	return 1.0 / 60
}

// glue lists cement, and primer for half the volume since it goes twice as far,
// for pipe of PVC, and a clamp for every end of other pipe, whose fittings are
// pushed in.
func (j *job) glue() {
	joints := make(map[string]float64) // quarts by label
	for _, s := range j.sockets {
		if !glued(s.material) {
			j.t.count(Clamp, s.size, s.n, s.label)
			continue
		}
		joints[s.label] += float64(s.n) * quartsPerJoint(s.size)
	}
	quarts := 0.0
	labels := slices.SortedFunc(maps.Keys(joints), layout.CompareLabels)
	for _, l := range labels {
		quarts += joints[l]
	}
	if quarts > 0 {
		litres := quarts * layout.LitresPerGallon / 4
		j.t.add(Cement, "", quantityOf(litres), labels...)
		j.t.add(Primer, "", quantityOf(litres/2), slices.Clone(labels)...)
	}
}

// glued reports whether pipe is joined by solvent cement.
func glued(material string) bool { return strings.Contains(strings.ToUpper(material), "PVC") }

// thread is a number of screwed joints.
type thread struct {
	size   string
	n      int
	metal  bool // on both sides
	labels []string
}

// Tape and sealant for a screwed joint: three turns about the pipe, whose outside
// is taken as 1.3 times its nominal size, and 1 ml a joint of an inch. A
// judgement.
const (
	tapeTurns       = 3
	outsideShare    = 1.3
	sealantPerInch  = 0.001 // litres
	metresPerThouIn = layout.MetresPerInch / 1000
)

// screw lists tape for every screwed joint, and sealant for those of metal on
// metal; plastic gets tape only (common practice, no source).
func (j *job) screw() {
	for _, t := range j.threads {
		d, _ := nominal(t.size)
		tape := tapeTurns * outsideShare * 3.1416 * float64(d) * metresPerThouIn
		j.t.add(ThreadTape, "", quantityOf(float64(t.n)*tape), t.labels...)
		if t.metal {
			j.t.add(ThreadSealant, "", quantityOf(float64(t.n)*sealantPerInch*float64(d)/1000), t.labels...)
		}
	}
}
