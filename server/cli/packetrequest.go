package cli

import (
	"context"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"

	"lotwright/importer/assemble"
	"lotwright/layout"
	"lotwright/layout/feature"
	"lotwright/layout/takeoff"
	"lotwright/server/rpc"
	"lotwright/server/sheet"
)

// tablesName is the sheet's tables for programs: parts, cut list, run times and
// pressure, in words.
const tablesName = "tables.json"

// packetOfRequest makes the packet of one lot that was designed, with the files
// that the command line writes for it.
func packetOfRequest(ctx context.Context, lot *layout.Lot, d *layout.Design, s rpc.Settings, how rpc.PacketSettings) (files []rpc.PacketFile, err error) {
	flags := jobFlags{sheetFlags: sheetFlags{Paper: how.Paper, Units: how.Units, DateText: how.Date}}
	job, err := flags.job()
	if err != nil {
		return nil, err
	}
	if job.folder, err = os.MkdirTemp("", "lotwright-*"); err != nil {
		return nil, err
	}
	defer os.RemoveAll(job.folder)
	if job.design, err = requestSettings(s); err != nil {
		return nil, err
	}
	sink, err := newPacketSink(job)
	if err != nil {
		return nil, err
	}
	tables, err := sink.putLot(&outcome{item: assemble.Item{ID: d.LotID, Lot: lot}, design: d, features: feature.Features(d)})
	if err != nil {
		sink.drop()
		return nil, err
	}
	if err := errors.Join(sink.keep(), ctx.Err()); err != nil {
		return nil, err
	}
	return packed(job.folder, tables)
}

// costsOfRequest are what a lot costs by the invented prices.
func costsOfRequest(lot *layout.Lot, d *layout.Design) (c rpc.Costs, err error) {
	how := takeoff.Settings{Bore: boreOf, Wire: wireFor}
	list, err := takeoff.Of(d, atController(how, lot, d))
	if err != nil {
		return c, err
	}
	bill := takeoff.Priced(list, takeoff.InventedPrices())
	money := func(c layout.Cents) float64 { return float64(c) / 100 }
	return rpc.Costs{
		Parts: money(bill.Parts), LabourHours: bill.LabourHours.Units(), Labour: money(bill.Labour), Total: money(bill.Total()),
		Unpriced: len(bill.Unpriced),
	}, nil
}

// packed gathers the files of a lot and of its batch of one, without the book,
// which would be the sheet again.
func packed(folder string, tables []sheet.Table) (files []rpc.PacketFile, err error) {
	seen := map[string]bool{bookName + ".pdf": true}
	add := func(name string, text []byte) {
		if !seen[name] {
			files = append(files, rpc.PacketFile{Name: name, Content: text})
		}
		seen[name] = true
	}
	err = filepath.WalkDir(folder, func(at string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		text, err := os.ReadFile(at)
		add(path.Base(filepath.ToSlash(at)), text)
		return err
	})
	if err != nil {
		return nil, err
	}
	text, err := json.Marshal(plainTables(tables))
	add(tablesName, text)
	return files, err
}

// plainTable is a table of a sheet as JSON.
type plainTable struct {
	Title string     `json:"title"`
	Note  string     `json:"note"`
	Head  []string   `json:"head"`
	Right []bool     `json:"right"` // columns of numbers
	Rows  [][]string `json:"rows"`
	Sums  int        `json:"sums"` // how many of the last rows are sums
}

func plainTables(tables []sheet.Table) []plainTable {
	out := []plainTable{}
	for _, t := range tables {
		p := plainTable{Title: t.Title, Note: strings.TrimSpace(t.Note), Head: t.Head, Rows: t.Rows, Sums: t.Sums, Right: make([]bool, len(t.Head))}
		for i, a := range t.Align {
			if i < len(p.Right) {
				p.Right[i] = a == sheet.AlignRight
			}
		}
		out = append(out, p)
	}
	return out
}
