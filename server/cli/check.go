package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"runtime"

	"lotwright/importer"
	"lotwright/importer/assemble"
	"lotwright/layout"
)

// checkCommand says what is wrong with the inputs, without designing.
type checkCommand struct {
	inputFlags
	JSON bool `name:"json" help:"Findings as JSON, one a line."`
	progressFlags
}

// Help is shown below the summary by check --help.
func (checkCommand) Help() string {
	return `Every finding names its file, lot, feature, rule and place. Errors refuse their lot, or the whole request; warnings tell what was put right or left out.

Examples:

    lotwright check lots.geojson
    lotwright check city.gpkg --lot-property PIN
    lotwright check --json lots.geojson | jq -r 'select(.severity=="error") | .lot'

Exit code: 0 no errors, 1 the request is refused, 2 usage, 3 some lots are refused.`
}

// Run lists the findings.
func (k *checkCommand) Run(ctx context.Context, c *console) error {
	list := k.list(c)
	lots, err := k.open(ctx, c)
	if refusal := (*importer.Refusal)(nil); errors.As(err, &refusal) {
		list.add(refusal.Finding)
		list.end()
	}
	if err != nil {
		return err
	}
	defer lots.Close()
	for _, f := range lots.Findings() {
		list.add(f)
	}
	refused, err := k.checkAll(ctx, c, lots, list)
	if err != nil {
		return err
	}
	list.end()
	if !k.JSON && !k.Quiet {
		fmt.Fprintf(c.out, "%s: %d sound, %d refused\n", plural(lots.len(), "lot"), lots.len()-refused, refused)
	}
	if refused > 0 {
		return errNotDesigned
	}
	return nil
}

// checkAll assembles every lot, lists its findings and counts the refused.
func (k *checkCommand) checkAll(ctx context.Context, c *console, lots *lotList, list findingList) (refused int, err error) {
	shown := k.start(c.err, lots.len())
	defer shown.end()
	done, err := ordered(ctx, lots.len(), runtime.GOMAXPROCS(0), lots.item, func(_ int, item assemble.Item) error {
		for _, f := range item.Findings {
			list.add(f)
		}
		status := "sound"
		if item.Lot == nil {
			refused++
			status = string(layout.StatusInvalid)
		}
		shown.step(item.ID, status)
		return nil
	})
	if err == nil && done < lots.len() {
		err = fmt.Errorf("interrupted: %d of %s are checked", done, plural(lots.len(), "lot"))
	}
	return refused, err
}

// findingList shows findings one after another.
type findingList interface {
	add(importer.Finding)
	end()
}

func (k *checkCommand) list(c *console) findingList {
	if k.JSON {
		return findingLines{json.NewEncoder(c.out)}
	}
	return &findingTable{w: c.out, grid: grid{header: []string{"LOT", "SEVERITY", "RULE", "WHAT AND WHERE"}, left: map[int]bool{1: true, 2: true, 3: true}}}
}

// findingTable is an aligned table.
type findingTable struct {
	w io.Writer
	grid
}

func (t *findingTable) add(f importer.Finding) {
	t.grid.add(orElse(oneLine(f.Lot), "-"), string(f.Severity), f.Rule, oneLine(f.Text+" ["+findingPlace(f)+"]"))
}

func (t *findingTable) end() {
	if len(t.rows) > 0 {
		t.write(t.w)
	}
}

// findingLines is a JSON object a line; what a finding is not about is null.
type findingLines struct{ *json.Encoder }

type findingLine struct {
	File      string          `json:"file"`
	Lot       *string         `json:"lot"`
	Feature   *int            `json:"feature"`
	Layer     *layout.Layer   `json:"layer"`
	Rule      string          `json:"rule"`
	Severity  layout.Severity `json:"severity"`
	Scope     importer.Scope  `json:"scope"`
	Text      string          `json:"text"`
	Longitude *float64        `json:"longitude"`
	Latitude  *float64        `json:"latitude"`
	Offset    *int64          `json:"offset"`
}

func (l findingLines) add(f importer.Finding) {
	line := findingLine{File: f.File, Rule: f.Rule, Severity: f.Severity, Scope: f.Scope, Text: f.Text}
	line.Lot = known(f.Lot, f.Lot != "")
	line.Feature = known(f.Feature, f.Feature >= 0)
	line.Layer = known(f.Layer, f.Layer != "")
	line.Offset = known(f.Offset, f.Offset >= 0)
	if f.Place != nil {
		line.Longitude, line.Latitude = &f.Place[0], &f.Place[1]
	}
	_ = l.Encode(line) // stdout gone: nobody is left to tell
}

func (findingLines) end() {}

func known[T any](v T, ok bool) *T {
	if !ok {
		return nil
	}
	return &v
}
