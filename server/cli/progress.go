package cli

import (
	"encoding/json"
	"fmt"
	"io"
	"os"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// progress tells on stderr how far a run is.
type progress interface {
	// step says that one more lot is through.
	step(lot, status string)
	// end closes the display.
	end()
}

// progressFlags choose the display.
type progressFlags struct {
	Progress string `enum:"auto,bar,json,none" default:"auto" help:"Progress on stderr: auto (a bar on a terminal), bar, json (a line a lot) or none."`
	Quiet    bool   `short:"q" help:"No progress and no summary; faults are still reported."`
}

// start opens the display for a run of total lots.
func (f progressFlags) start(w io.Writer, total int) progress {
	switch {
	case f.Progress == "json":
		return &jsonProgress{encoder: json.NewEncoder(w), total: total}
	case f.Quiet || f.Progress == "none":
		return silent{}
	case f.Progress == "bar" || isTerminal(w):
		return barProgress{progressbar.NewOptions(total,
			progressbar.OptionSetWriter(w),
			progressbar.OptionSetDescription("lots"),
			progressbar.OptionShowCount(),
			progressbar.OptionSetPredictTime(true),
			progressbar.OptionFullWidth(),
			progressbar.OptionClearOnFinish(),
		)}
	}
	return silent{}
}

// isTerminal reports whether w is a terminal that a person looks at.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

type silent struct{}

func (silent) step(string, string) {}
func (silent) end()                {}

type barProgress struct{ bar *progressbar.ProgressBar }

func (p barProgress) step(string, string) { _ = p.bar.Add(1) } // a display that fails must not stop the run
func (p barProgress) end()                { _ = p.bar.Exit() }

// jsonProgress writes one JSON object a line: "lot" events, then one "end".
type jsonProgress struct {
	encoder     *json.Encoder
	done, total int
}

type progressEvent struct {
	Event  string `json:"event"`
	Done   int    `json:"done"`
	Total  int    `json:"total"`
	Lot    string `json:"lot,omitempty"`
	Status string `json:"status,omitempty"`
}

func (p *jsonProgress) step(lot, status string) {
	p.done++
	_ = p.encoder.Encode(progressEvent{"lot", p.done, p.total, lot, status})
}

func (p *jsonProgress) end() {
	_ = p.encoder.Encode(progressEvent{Event: "end", Done: p.done, Total: p.total})
}

// plural writes a count with its noun: 1 lot, 2 lots.
func plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
