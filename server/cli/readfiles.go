package cli

import (
	"context"
	"errors"

	"lotwright/importer"
	"lotwright/importer/assemble"
	"lotwright/server/rpc"
)

// tablesOfRequest lists what files hold.
func tablesOfRequest(ctx context.Context, files []rpc.File) ([]rpc.Table, error) {
	var inputs []assemble.Input
	for _, f := range files {
		inputs = append(inputs, assemble.Input{Name: f.Name, Path: f.Path})
	}
	listed, err := assemble.List(ctx, inputs, assemble.Options{})
	if err != nil {
		return nil, requestFault(err)
	}
	var out []rpc.Table
	for _, l := range listed {
		out = append(out, rpc.Table{
			File: l.File, Table: l.Table, Columns: append([]string{}, l.Columns...), System: l.System,
			Features: l.Features, Geometry: string(l.Geometry), Layer: l.Layer, Labelled: l.Labelled,
		})
	}
	return out, nil
}

// requestFault turns the refusal of an input into the service's, with the file.
func requestFault(err error) error {
	var refusal *importer.Refusal
	if !errors.As(err, &refusal) {
		return err
	}
	f := refusal.Finding
	if f.File != "" {
		f.Text = f.File + ": " + f.Text
	}
	return requestRefusal(f)
}

// readRequest reads files into lots, by the same means as the command line.
func readRequest(ctx context.Context, chosen []rpc.Chosen, lotProperty string) (rpc.Surveyed, error) {
	var inputs []assemble.Input
	for _, c := range chosen {
		inputs = append(inputs, assemble.Input{Name: c.File.Name, Path: c.File.Path, Table: c.Table, Layer: c.Layer})
	}
	batch, err := assemble.Open(ctx, inputs, assemble.Options{LotProperty: lotProperty})
	if err != nil {
		return nil, requestFault(err)
	}
	return surveyed{batch}, nil
}

// surveyed is a batch as the service hands it back.
type surveyed struct{ *assemble.Batch }

// Features are those of a lot, labelled.
func (s surveyed) Features(i int) ([][]byte, error) { return s.Labelled(i) }

// mostFindings is how many remarks about files are handed back.
const mostFindings = 1000

// Findings are the remarks about the files.
func (s surveyed) Findings() []rpc.Finding {
	all := s.Batch.Findings()
	var out []rpc.Finding
	for _, f := range all[:min(len(all), mostFindings)] {
		out = append(out, rpc.Finding{
			Rule: f.Rule, Severity: string(f.Severity), Text: f.Text, File: f.File, Lot: f.Lot,
			Feature: known(f.Feature, f.Feature >= 0), Place: (*[2]float64)(f.Place),
		})
	}
	return out
}
