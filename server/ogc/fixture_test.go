package ogc_test

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"lotwright/importer"
	"lotwright/importer/project"
	"lotwright/layout"
	"lotwright/layout/feature"
	"lotwright/layout/geom"
	"lotwright/server/ogc"
	"lotwright/server/store"
	"lotwright/server/store/sqlite"
)

func TestMain(m *testing.M) {
	if code := m.Run(); code != 0 {
		os.Exit(code)
	}
	http.DefaultClient.CloseIdleConnections()
	if err := goleak.Find(); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// site is a service of maps over a store with designs.
type site struct {
	testing.TB
	url   string // of the service
	kept  *sqlite.Store
	local *httptest.Server
	log   *bytes.Buffer
	jobs  []store.Chunk
}

// now is the clock of all sites.
var now = time.Date(2026, 5, 1, 12, 30, 0, 0, time.UTC)

func open(t testing.TB, change func(*ogc.Options)) *site {
	t.Helper()
	s := &site{TB: t, log: &bytes.Buffer{}}
	var err error
	s.kept, err = sqlite.Open(t.Context(), t.TempDir())
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.kept.Close()) })
	s.kept.OnStart(1000, func(_ context.Context, _ *sql.Tx, chunks []store.Chunk) error {
		s.jobs = chunks
		return nil
	})
	o := ogc.Options{
		Store: s.kept, Features: split, Now: func() time.Time { return now },
		Log: slog.New(slog.NewTextHandler(s.log, nil)),
	}
	if change != nil {
		change(&o)
	}
	handler, err := ogc.New(o)
	require.NoError(t, err)
	s.local = httptest.NewServer(handler)
	t.Cleanup(s.local.Close)
	s.url = s.local.URL
	return s
}

// split reads what [site.design] writes.
func split(d store.Design) (list [][]byte, err error) {
	for line := range bytes.Lines(d.Content) {
		list = append(list, bytes.TrimSuffix(line, []byte("\n")))
	}
	return list, nil
}

// batch makes a batch with lots L1 to Ln.
func (s *site) batch(id, title string, lots int) {
	s.Helper()
	_, err := s.kept.CreateBatch(s.Context(), store.Local, id, title, store.Request{})
	require.NoError(s, err)
	p := store.Piece{Import: "one"}
	for n := range lots {
		p.Messages = append(p.Messages, store.ImportMessage{Lot: store.Lot{ID: lotID(n + 1), Content: []byte("lot")}})
	}
	_, _, err = s.kept.AddLots(s.Context(), store.Local, id, p)
	require.NoError(s, err)
}

func lotID(n int) string { return fmt.Sprintf("L%d", n) }

// run makes a revision of the designs that of gives, one a lot; nil is none yet.
func (s *site) run(batch string, lots int, of func(n int) *layout.Design) {
	s.Helper()
	o, err := s.kept.StartOperation(s.Context(), store.Local, batch, fmt.Sprintf("%s-%d", batch, rand.Uint64()), nil, store.Request{})
	require.NoError(s, err)
	for n := range lots {
		d := of(n + 1)
		if d == nil {
			continue
		}
		require.NoError(s, s.kept.SaveDesign(s.Context(), store.Chunk{Tenant: store.Local, Operation: o.ID, First: 1, Last: lots}, store.Design{
			Number: n + 1, Lot: d.LotID, Status: store.Status(d.Status), Reason: d.Reason, Content: feature.Encode(d, feature.NewlineDelimited),
		}))
	}
}

// home is the corner of the first lot.
var home = importer.Position{-30, 40}

// lot is a design of the n-th lot of a street, with as many heads as its number
// modulo five and one. Every seventh lot is invalid and has no place.
func lot(n int) *layout.Design { return lotAt(home, n) }

func lotAt(home importer.Position, n int) *layout.Design {
	if n%7 == 0 {
		return layout.Refused(lotID(n), `no "parcel", é`, nil)
	}
	chance := rand.New(rand.NewPCG(uint64(n), 1))
	plane := project.NewPlane(importer.Position{home[0] + float64(n%20)*4e-4, home[1] + float64(n/20)*5e-4})
	d := &layout.Design{
		LotID: lotID(n), Plane: plane, Status: layout.StatusDesigned, HeadKind: layout.VariableThrow,
		Irrigated: geom.Region{{ring(0, 0, 25000, 20000), reversed(ring(9000, 8000, 6000, 5000))}}, IrrigatedArea: 470, ParcelArea: 500,
		Coverage: 0.975, CoverageTarget: 0.97, Throw: 9.144,
		Dry: geom.Region{{ring(0, 19000, 1000, 1000)}, {ring(24000, 0, 1000, 1000)}}, DryArea: 2,
	}
	last := geom.Pt(500, 500)
	for k := range n%5 + 1 {
		at := geom.Pt(chance.Int64N(9000), chance.Int64N(20000))
		d.Heads = append(d.Heads, layout.Head{
			Label: fmt.Sprintf("H%d", k+1), At: at, Kind: layout.VariableThrow, Throw: 9.144, ArcSweep: 360, Pressure: 380,
			Flow: 17, Zone: k + 1, Wetted: []geom.Vec{{X: float64(at.X) - 3000, Y: float64(at.Y)}, {X: float64(at.X) + 3000, Y: float64(at.Y) - 2500}, {X: float64(at.X) + 3000, Y: float64(at.Y) + 2500}},
		})
		d.Network.Runs = append(d.Network.Runs, layout.TrenchRun{From: "POC", To: fmt.Sprintf("H%d", k+1), Surface: layout.SurfaceSoil, Path: geom.Line{last, at}, Length: 5, Depth: 0.25})
		last = at
	}
	return d
}

func ring(x, y, w, h int64) geom.Ring {
	return geom.Ring{geom.Pt(x, y), geom.Pt(x+w, y), geom.Pt(x+w, y+h), geom.Pt(x, y+h)}
}

func reversed(r geom.Ring) geom.Ring { return r.Reversed() }

// street is a batch called elm with one revision.
func street(t testing.TB, lots int, change func(*ogc.Options)) *site {
	t.Helper()
	s := open(t, change)
	s.batch("elm", "Elm Street", lots)
	s.run("elm", lots, lot)
	return s
}

// object is a JSON object.
type object = map[string]any

// reply is an answer, read.
type reply struct {
	*http.Response
	body []byte
}

func (r reply) json(t testing.TB) object {
	t.Helper()
	var out object
	require.NoError(t, json.Unmarshal(r.body, &out), "%.300s", r.body)
	return out
}

// get asks for a path of the service or a whole URL.
func (s *site) get(path string, header ...string) reply {
	return s.ask(http.MethodGet, path, header...)
}

func (s *site) ask(method, path string, header ...string) reply {
	s.Helper()
	if path == "" || path[0] == '/' {
		path = s.url + path
	}
	request, err := http.NewRequestWithContext(s.Context(), method, path, nil)
	require.NoError(s, err)
	for i := 0; i < len(header); i += 2 {
		if header[i] == "Host" {
			request.Host = header[i+1]
		}
		request.Header.Set(header[i], header[i+1])
	}
	answer, err := http.DefaultClient.Do(request)
	require.NoError(s, err)
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	require.NoError(s, err)
	return reply{answer, body}
}

// ok is the document at a path that must be there.
func (s *site) ok(path string) object {
	s.Helper()
	r := s.get(path)
	require.Equal(s, http.StatusOK, r.StatusCode, "%s: %.500s", path, r.body)
	return r.json(s)
}

// refused wants a problem document of a status, and returns its detail.
func (s *site) refused(status int, path string) string {
	s.Helper()
	r := s.get(path)
	require.Equal(s, status, r.StatusCode, "%s: %.300s", path, r.body)
	require.Equal(s, "application/problem+json", r.Header.Get("Content-Type"))
	p := r.json(s)
	require.EqualValues(s, status, p["status"])
	require.NotEmpty(s, p["code"])
	require.Equal(s, http.StatusText(status), p["title"])
	return p["detail"].(string)
}

// links are those of a document with a relation.
func links(d object, rel string) (out []object) {
	for _, l := range d["links"].([]any) {
		if l.(object)["rel"] == rel {
			out = append(out, l.(object))
		}
	}
	return out
}

func href(t testing.TB, d object, rel string) string {
	t.Helper()
	list := links(d, rel)
	require.Len(t, list, 1, rel)
	return list[0]["href"].(string)
}

// all follows the next links of a page to the end.
func (s *site) all(path string) (features []object, pages int) {
	s.Helper()
	for at := path; ; pages++ {
		d := s.ok(at)
		list := d["features"].([]any)
		require.EqualValues(s, len(list), d["numberReturned"])
		for _, f := range list {
			features = append(features, f.(object))
		}
		next := links(d, "next")
		if len(next) == 0 {
			return features, pages + 1
		}
		require.NotEmpty(s, list, "a page that leads on is not empty: clients stop there")
		at = next[0]["href"].(string)
	}
}
