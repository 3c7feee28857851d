//go:build measure

package ogc_test

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/store"
	"lotwright/server/store/sqlite"
)

var (
	fillFolder = flag.String("fill-folder", "", "where the store is to be made")
	fillMap    = flag.String("fill-map", "", "designs to copy, as design -o writes them")
	fillLots   = flag.Int("fill-lots", 10000, "how many copies")
)

// TestFill makes a store with a batch called elm: copies of designs side by side
// on a grid of 50 m, in an order that a seed gives. It is for measuring what many
// lots take without designing them (.ci/check_maps.py).
func TestFill(t *testing.T) {
	designs := designsOf(t, *fillMap)
	s, err := sqlite.Open(t.Context(), *fillFolder)
	require.NoError(t, err)
	defer s.Close()
	s.OnStart(*fillLots, func(context.Context, *sql.Tx, []store.Chunk) error { return nil })
	_, err = s.CreateBatch(t.Context(), store.Local, "elm", "Elm Street", store.Request{})
	require.NoError(t, err)
	p := store.Piece{Import: "one"}
	for n := range *fillLots {
		p.Messages = append(p.Messages, store.ImportMessage{Lot: store.Lot{ID: copyID(n), Content: []byte{}}})
	}
	_, _, err = s.AddLots(t.Context(), store.Local, "elm", p)
	require.NoError(t, err)
	o, err := s.StartOperation(t.Context(), store.Local, "elm", "one", nil, store.Request{})
	require.NoError(t, err)
	chance := rand.New(rand.NewPCG(7, 7))
	side := 1
	for side*side < *fillLots {
		side++
	}
	for n := range *fillLots {
		from := designs[chance.IntN(len(designs))]
		lon, lat := -30+float64(n%side)*6e-4, 40+float64(n/side)*5e-4
		m := &pb.Design{Lot: copyID(n), Status: pb.Design_DESIGNED, Geojson: from.at(t, copyID(n), lon, lat)}
		content, err := proto.Marshal(m)
		require.NoError(t, err)
		require.NoError(t, s.SaveDesign(t.Context(), store.Chunk{Tenant: store.Local, Operation: o.ID, First: 1, Last: *fillLots},
			store.Design{Number: n + 1, Lot: copyID(n), Status: store.Designed, Content: content}))
	}
}

func copyID(n int) string { return fmt.Sprintf("C-%05d", n+1) }

// pattern is the features of a lot.
type pattern struct {
	id       string
	features [][]byte
	lon, lat float64 // of some corner
}

func designsOf(t *testing.T, path string) (list []pattern) {
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	var collection struct{ Features []json.RawMessage }
	require.NoError(t, json.Unmarshal(text, &collection))
	for _, f := range collection.Features {
		var one struct{ Properties struct{ Lot string } }
		require.NoError(t, json.Unmarshal(f, &one))
		if len(list) == 0 || list[len(list)-1].id != one.Properties.Lot {
			list = append(list, pattern{id: one.Properties.Lot})
			positions(f, func(x, y float64) []byte {
				list[len(list)-1].lon, list[len(list)-1].lat = x, y
				return nil
			})
		}
		last := &list[len(list)-1]
		last.features = append(last.features, bytes.TrimSpace(f))
	}
	return list
}

// at is a copy as the text of a collection.
func (p pattern) at(t *testing.T, id string, lon, lat float64) string {
	var moved [][]byte
	for _, f := range p.features {
		f = bytes.Replace(f, strconv.AppendQuote(nil, p.id), strconv.AppendQuote(nil, id), 1)
		moved = append(moved, positions(f, func(x, y float64) []byte {
			return fmt.Appendf(nil, "%.8f,%.8f", x-p.lon+lon, y-p.lat+lat)
		}))
	}
	text := `{"type":"FeatureCollection","features":[` + "\n" + string(bytes.Join(moved, []byte(",\n"))) + "\n]}\n"
	require.True(t, json.Valid([]byte(text)))
	return text
}

// positions writes a feature with its positions changed.
func positions(f []byte, change func(x, y float64) []byte) []byte {
	at := bytes.Index(f, []byte(`"coordinates":`))
	if at < 0 {
		return f
	}
	out := append([]byte(nil), f[:at]...)
	for rest := f[at:]; ; {
		i := bytes.IndexAny(rest, "-0123456789")
		if i < 0 {
			return append(out, rest...)
		}
		j := i + bytes.IndexByte(rest[i:], ']')
		x, y, _ := bytes.Cut(rest[i:j], []byte(","))
		lon, _ := strconv.ParseFloat(string(x), 64)
		lat, _ := strconv.ParseFloat(string(y), 64)
		out = append(append(out, rest[:i]...), change(lon, lat)...)
		rest = rest[j:]
	}
}
