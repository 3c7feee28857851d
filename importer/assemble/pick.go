package assemble

import (
	"fmt"
	"slices"
	"strings"

	"lotwright/importer"
	"lotwright/importer/table"
	"lotwright/layout"
)

// pick is a table to read, and what it shows; layer is empty when its rows say
// so themselves.
type pick struct {
	table table.Table
	layer layout.Layer
}

// words says what a table is taken for.
func (p pick) words() string {
	if p.layer == "" {
		return "by its columns for lot and layer"
	}
	return fmt.Sprintf("as layer %s", p.layer)
}

// pick chooses the tables of a file that are read.
func (b *Batch) pick(in Input, tables []table.Table) ([]pick, error) {
	switch {
	case len(tables) == 0:
		return nil, importer.Refuse(-1, "table.none", "the file has no table of features")
	case in.Table != "":
		return b.pickNamed(in, tables)
	case in.Layer != "":
		return pickLayer(in, tables)
	}
	return b.pickAll(in, tables)
}

// pickNamed takes the table that was asked for.
func (b *Batch) pickNamed(in Input, tables []table.Table) ([]pick, error) {
	i := slices.IndexFunc(tables, func(t table.Table) bool { return t.Name == in.Table })
	if i < 0 {
		i = slices.IndexFunc(tables, func(t table.Table) bool { return strings.EqualFold(t.Name, in.Table) })
	}
	if i < 0 {
		return nil, importer.Refuse(-1, "table.none", "the file has no table %.80q; it has %s", in.Table, names(tables))
	}
	if in.Layer != "" {
		return []pick{{tables[i], in.Layer}}, nil
	}
	return b.pickAll(in, tables[i:i+1])
}

// pickLayer takes the only table, or the only one whose name speaks of the layer.
func pickLayer(in Input, tables []table.Table) ([]pick, error) {
	if len(tables) == 1 {
		return []pick{{tables[0], in.Layer}}, nil
	}
	var fitting []table.Table
	for _, t := range tables {
		if layer, ok := table.Guess(t.Name); ok && layer == in.Layer {
			fitting = append(fitting, t)
		}
	}
	if len(fitting) != 1 {
		return nil, importer.Refuse(-1, "table.ambiguous", "which table is layer %s? Name it after the file: %s=%.80s:TABLE; the file has %s",
			in.Layer, in.Layer, in.Name, names(tables))
	}
	return []pick{{fitting[0], in.Layer}}, nil
}

// pickAll takes every table whose rows are labelled or whose name speaks of a
// layer, each layer once.
func (b *Batch) pickAll(in Input, tables []table.Table) (picks []pick, err error) {
	seen := map[layout.Layer]string{}
	for _, t := range tables {
		layer, guessed := table.Guess(t.Name)
		switch {
		case t.IsLabelled(b.options.LotProperty):
			picks = append(picks, pick{table: t})
		case !guessed:
			b.remark(in.Name, importer.Found(layout.SeverityInfo, "table.skipped",
				"table %.80q is not read: neither its name nor its columns say which layer it is", t.Name))
		case seen[layer] != "":
			return nil, importer.Refuse(-1, "table.ambiguous", "tables %.80q and %.80q both look like layer %s; name the right one after the file: %s=%.80s:TABLE",
				seen[layer], t.Name, layer, layer, in.Name)
		default:
			seen[layer] = t.Name
			picks = append(picks, pick{t, layer})
		}
	}
	if len(picks) == 0 {
		return nil, importer.Refuse(-1, "table.ambiguous",
			"no table says which layer it is, by its name or by columns lot and layer; name one after the file: parcel=%.80s:TABLE; the file has %s",
			in.Name, names(tables))
	}
	return picks, nil
}

func names(tables []table.Table) string {
	var all []string
	for _, t := range tables {
		all = append(all, t.Name)
	}
	return list(all)
}

// listed is how many names are told.
const listed = 20

// list writes names in a row, quoted, since they are somebody else's.
func list(names []string) string {
	var out []string
	for _, n := range names[:min(len(names), listed)] {
		out = append(out, fmt.Sprintf("%.80q", n))
	}
	if more := len(names) - listed; more > 0 {
		out = append(out, fmt.Sprintf("and %d more", more))
	}
	return strings.Join(out, ", ")
}
