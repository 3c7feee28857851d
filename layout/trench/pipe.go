package trench

import (
	"fmt"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// What is laid where nothing else is asked for. Common practice, no source.
const (
	DefaultPipeMaterial = "PVC Sch 40"
	DefaultPipeSize     = "1 in"
)

// Pipes lays one pipe along each stretch of trench between two named ends, of
// the default material and size, numbered P1, P2… in the order of the runs. Its
// flow is the largest that any one head beyond it takes, since variable-throw
// heads run one at a time. The second result names, for each head, the pipe
// that ends at it; it is empty for a head at the point of connection and for
// one out of reach.
func Pipes(net layout.Network, heads []layout.Head) ([]layout.PipeRun, []string) {
	pipes := layPipes(net.Runs)
	names := make([]string, len(heads))
	for k, i := range leadTo(pipes, heads) {
		if i >= 0 {
			names[k] = pipes[i].Label
		}
	}
	return pipes, names
}

// PipesTo lays what of [Pipes] leads to some of the heads, such as those of one
// valve. The second result is, for each head, the number of the pipe that ends
// at it, or −1.
func PipesTo(net layout.Network, heads []layout.Head) (pipes []layout.PipeRun, ends []int) {
	all := layPipes(net.Runs)
	ends = leadTo(all, heads)
	number := make([]int, len(all))
	for i, p := range all {
		if number[i] = len(pipes); p.Flow > 0 {
			pipes = append(pipes, p)
		}
	}
	for k, i := range ends {
		if i >= 0 {
			ends[k] = number[i]
		}
	}
	return pipes, ends
}

// leadTo gives the pipes that lead to heads the largest flow of any of them. It
// returns which pipe ends at each head, −1 for none.
func leadTo(pipes []layout.PipeRun, heads []layout.Head) []int {
	into := make(map[geom.Point]int, len(pipes)) // the pipe that ends at a point
	above := make(map[string]int, len(pipes))    // the pipe that ends at a label
	for i, p := range pipes {
		into[p.Path[len(p.Path)-1]] = i
		above[p.To] = i
	}
	ends := make([]int, len(heads))
	for k, h := range heads {
		i, ok := into[h.At]
		if ends[k] = -1; ok {
			ends[k] = i
		}
		for ok {
			pipes[i].Flow = max(pipes[i].Flow, h.Flow)
			i, ok = above[pipes[i].From]
		}
	}
	return ends
}

// layPipes joins consecutive runs between the same ends.
func layPipes(runs []layout.TrenchRun) []layout.PipeRun {
	var pipes []layout.PipeRun
	for _, r := range runs {
		if n := len(pipes); n > 0 && pipes[n-1].From == r.From && pipes[n-1].To == r.To {
			last := &pipes[n-1]
			last.Length += r.Length
			last.Path = append(last.Path, r.Path[1:]...)
			continue
		}
		pipes = append(pipes, layout.PipeRun{
			Label: fmt.Sprintf("P%d", len(pipes)+1), From: r.From, To: r.To,
			Material: DefaultPipeMaterial, Size: DefaultPipeSize,
			Path: append(geom.Line(nil), r.Path...), Length: r.Length,
		})
	}
	return pipes
}
