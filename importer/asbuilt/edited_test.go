package asbuilt_test

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/asbuilt"
	"lotwright/importer/geojson"
	"lotwright/layout"
	"lotwright/layout/design"
	"lotwright/layout/feature"
	"lotwright/layout/geom"
)

// readBack reads an edited design off text.
func readBack(t *testing.T, text []byte) (layout.Edited, []importer.Finding) {
	t.Helper()
	lots, err := asbuilt.Read(context.Background(), geojson.Source{Name: "edited", Reader: bytes.NewReader(text), Format: geojson.Collection}, importer.Limits{})
	require.NoError(t, err)
	require.Len(t, lots, 1)
	return lots[0].Edited(plane)
}

// rechecked reads an edited design and works it out.
func rechecked(t *testing.T, text []byte, s design.Settings) *layout.Design {
	t.Helper()
	edited, findings := readBack(t, text)
	require.Empty(t, findings)
	now, err := design.Recheck(context.Background(), lot(), edited, s)
	require.NoError(t, err)
	return now
}

// kinds are settings for each kind of head, with and without a known supply.
func kinds() map[string]design.Settings {
	spray, gauged, rotor := settings(), settings(), settings()
	family, rotors := layout.GenericSpray(), layout.GenericRotor()
	spray.Family = &family
	fifty := layout.PSI(50)
	gauged.Supply = layout.Supply{HeadPressure: &fifty}
	rotor.Supply, rotor.Family = gauged.Supply, &rotors
	spray.Effort.SectorMoves, rotor.Effort.SectorMoves = 100, 100
	return map[string]design.Settings{"variable throw, measured": settings(), "variable throw, gauge": gauged, "sprays, measured": spray, "rotors, gauge": rotor}
}

var made sync.Map // designs by kind

// ofKind is a design with a kind of head.
func ofKind(t *testing.T, kind string) *layout.Design {
	t.Helper()
	if d, ok := made.Load(kind); ok {
		return d.(*layout.Design)
	}
	d, err := design.Run(context.Background(), lot(), kinds()[kind])
	require.NoError(t, err)
	require.NotEmpty(t, d.Heads)
	made.Store(kind, d)
	return d
}

// TestOwnOutputRechecked reads designs back off their own map, and finds what they
// said: but for the proof, and the rounding of places to about a millimetre.
func TestOwnOutputRechecked(t *testing.T) {
	for name, s := range kinds() {
		t.Run(name, func(t *testing.T) {
			d := ofKind(t, name)
			now := rechecked(t, feature.Encode(d, feature.Collection), s)
			assert.Equal(t, d.Status, now.Status, "%s; %s", d.Reason, now.Reason)
			assert.InDelta(t, d.Coverage, now.Coverage, 2e-4)
			assert.InDelta(t, d.DryArea, now.DryArea, 0.1)
			assert.InDelta(t, d.Throw.Metres(), now.Throw.Metres(), 0.002)
			if s.Family == nil {
				assert.InDelta(t, d.Pressure.KPa(), now.Pressure.KPa(), 1)
			}
			assert.InDelta(t, d.Network.PipeLength.Metres(), now.Network.PipeLength.Metres(), 0.02)
			assert.InDelta(t, d.Network.TrenchLength.Metres(), now.Network.TrenchLength.Metres(), 0.02)
			assert.InDelta(t, d.Network.PavingCrossingLength.Metres(), now.Network.PavingCrossingLength.Metres(), 0.02)
			assert.Equal(t, len(d.Network.Cable), len(now.Network.Cable))
			assert.Equal(t, layout.ProofNone, now.Proof.Kind)
			require.Len(t, now.Heads, len(d.Heads))
			for i, h := range d.Heads {
				n := now.Heads[i]
				assert.Equal(t, [...]any{h.Label, h.Kind, h.Model, h.Zone, h.Pipe, h.ArcSweep}, [...]any{n.Label, n.Kind, n.Model, n.Zone, n.Pipe, n.ArcSweep})
				assert.True(t, n.At.Within(h.At, 2), h.Label)
				assert.InDelta(t, h.Pressure.KPa(), n.Pressure.KPa(), 1, h.Label)
				assert.InDelta(t, h.Flow.LPM(), n.Flow.LPM(), 0.05, h.Label)
				assert.InDelta(t, h.Throw.Metres(), n.Throw.Metres(), 0.002, h.Label)
				assert.InDelta(t, h.WettedArea, n.WettedArea, 0.2, h.Label)
			}
			if d.Water != nil {
				assert.Equal(t, len(d.Water.Zones), len(now.Water.Zones))
				assert.InDelta(t, d.Water.PipeCost, now.Water.PipeCost, 10)
				assert.InDelta(t, d.Water.Needed.KPa(), now.Water.Needed.KPa(), 1)
			}
			for _, n := range now.Notes {
				assert.NotContains(t, n.Rule, "audit.", n.Text)
			}
		})
	}
}

// edit changes the line of a map that holds all of the words; nothing instead of
// it takes it out.
func edit(t *testing.T, d *layout.Design, change func(string) string, words ...string) []byte {
	t.Helper()
	lines := strings.Split(strings.TrimSpace(string(feature.Encode(d, feature.Collection))), "\n")
	var out []string
	hits := 0
	for _, line := range lines {
		hit := true
		for _, w := range words {
			hit = hit && strings.Contains(line, w)
		}
		if hit {
			hits++
			line = change(line)
		}
		if line != "" {
			out = append(out, line)
		}
	}
	require.Equal(t, 1, hits, "%v", words)
	text := strings.Join(out, "\n")
	return []byte(strings.ReplaceAll(text, "},\n]", "}\n]"))
}

func movedTo(to geom.Point) func(string) string {
	return func(line string) string {
		p := plane.Place(to)
		at := strings.Index(line, `"coordinates":`)
		end := strings.TrimLeft(line[at:], `"cordinates:[0123456789.,-`)
		return line[:at] + fmt.Sprintf(`"coordinates":[%.8f,%.8f`, p[0], p[1]) + end
	}
}

// TestRecheckedAsAudited moves each head in turn: the recheck, which knows the map
// alone, finds what the audit finds, which knows the design.
func TestRecheckedAsAudited(t *testing.T) {
	for name, s := range kinds() {
		t.Run(name, func(t *testing.T) {
			d := ofKind(t, name)
			for i, h := range d.Heads[:3] {
				to := h.At.Add(geom.Pt(700, 0))
				if h.At.X > 0 {
					to = h.At.Add(geom.Pt(-700, 0))
				}
				now := rechecked(t, edit(t, d, movedTo(to), `"layer":"head"`, fmt.Sprintf(`"head":%q`, h.Label)), s)
				var stand layout.AsBuilt
				for k, h := range d.Heads {
					b := layout.BuiltHead{Label: h.Label, At: h.At}
					if k == i {
						b.At = to
					}
					stand.Heads = append(stand.Heads, b)
				}
				want, _, err := design.Audit(context.Background(), lot(), d, stand, s)
				require.NoError(t, err)
				assert.InDelta(t, want.Coverage, now.Coverage, 2e-4, h.Label)
				assert.InDelta(t, want.OversprayArea, now.OversprayArea, 0.1)
				assert.InDelta(t, want.Network.PipeLength.Metres(), now.Network.PipeLength.Metres(), 0.02)
				assert.Greater(t, math.Abs(float64(d.Network.PipeLength-now.Network.PipeLength)), 0.01)
				for k := range want.Heads {
					assert.InDelta(t, want.Heads[k].Pressure.KPa(), now.Heads[k].Pressure.KPa(), 1)
				}
				if want.Uniformity != nil {
					assert.InDelta(t, want.Uniformity.DULowQuarter, now.Uniformity.DULowQuarter, 0.005)
				}
			}
		})
	}
}

// TestHeadTakenOutAndAdded: one less leaves its ground dry; one put back without a
// label, where it stood, is joined anew and wets it again.
func TestHeadTakenOutAndAdded(t *testing.T) {
	d := designed(t)
	var leaf layout.Head
	for _, h := range d.Heads {
		feeds := false
		for _, p := range d.Network.Pipes {
			feeds = feeds || p.From == h.Label
		}
		if !feeds {
			leaf = h
		}
	}
	name := fmt.Sprintf(`"head":%q`, leaf.Label)
	less := rechecked(t, edit(t, d, func(string) string { return "" }, `"layer":"head"`, name), settings())
	require.Len(t, less.Heads, len(d.Heads)-1)
	assert.Less(t, less.Coverage, d.Coverage-0.01)
	assert.Equal(t, layout.StatusInfeasible, less.Status)
	assert.Contains(t, less.Reason, "of the lawn stay dry")

	back := rechecked(t, edit(t, d, func(line string) string { return strings.Replace(line, name, `"head":null`, 1) }, `"layer":"head"`, name), settings())
	require.Len(t, back.Heads, len(d.Heads))
	added := back.Heads[len(back.Heads)-1]
	assert.Equal(t, "N1", added.Label)
	assert.InDelta(t, d.Coverage, back.Coverage, 2e-4)
	assert.True(t, hasRule(back, "audit.pipe_assumed"))
}

func hasRule(d *layout.Design, rule string) bool {
	for _, n := range d.Notes {
		if n.Rule == rule {
			return true
		}
	}
	return false
}

// TestOnlyHeads: without pipe, what is reached is still known, and a head without
// a throw throws as far as the pressure makes it.
func TestOnlyHeads(t *testing.T) {
	s := kinds()["variable throw, gauge"]
	now := rechecked(t, collection(head(`"head":"H1"`)), s)
	row, _, ok := layout.GenericVariableThrow().At(layout.PSI(50))
	require.True(t, ok)
	assert.Equal(t, row.Throw, now.Heads[0].Throw)
	assert.InDelta(t, row.Flow.LPM(), now.Heads[0].Flow.LPM(), 1e-9)
	assert.Equal(t, layout.StatusInfeasible, now.Status)
	assert.True(t, hasRule(now, "audit.outside"), "it stands in the house")

	less := rechecked(t, collection(strings.ReplaceAll(head(`"head":"H1","throw_m":4,"fixed":true`), "40.00002", "40.00007")), s)
	assert.Equal(t, layout.Length(4), less.Heads[0].Throw, "drawn with less than it could")
	assert.True(t, less.Heads[0].Pinned)
	assert.False(t, hasRule(less, "audit.outside"))
	more := rechecked(t, collection(strings.ReplaceAll(head(`"throw_m":14`), "40.00002", "40.00007")), s)
	assert.Equal(t, row.Throw, more.Heads[0].Throw, "no farther than the pressure allows")
	assert.True(t, hasRule(more, "audit.throw_short"))
}

// TestEditsThatCannotBe are findings, or errors that say so.
func TestEditsThatCannotBe(t *testing.T) {
	pipe := `{"type":"Feature","properties":{"lot":"K1","layer":"pipe","pipe":"P1","zone":%s},"geometry":{"type":"LineString","coordinates":%s}}`
	for rule, text := range map[string]string{
		"asbuilt.no_heads":      fmt.Sprintf(pipe, "null", "[[-30,40],[-30,40.00001]]"),
		"property.not_number":   fmt.Sprintf(pipe, `"north"`, "[[-30,40],[-30,40.00001]]"),
		"property.conflict":     head(`"head":"H1","throw_m":9,"throw_ft":9`),
		"asbuilt.geometry":      strings.NewReplacer("Point", "LineString", "[-30,40.00002]", "[[-30,40],[-30,40.00001]]").Replace(head(`"head":"H1"`)),
		"asbuilt.far":           strings.ReplaceAll(head(`"head":"H1"`), "40.00002", "41"),
		"lot.too_many_features": strings.Repeat(head(`"head":"H1"`)+",", 2000) + head(`"head":"H1"`),
	} {
		_, findings := readBack(t, collection(text))
		require.NotEmpty(t, findings, rule)
		rules := map[string]bool{}
		for _, f := range findings {
			rules[f.Rule] = true
			assert.Equal(t, "K1", f.Lot)
		}
		assert.True(t, rules[rule], "%s: %v", rule, findings)
	}
	edited, findings := readBack(t, collection(head(`"head":"H1"`), strings.ReplaceAll(head(`"head":"H1"`), "40.00002", "40.00007")))
	require.Empty(t, findings)
	_, err := design.Recheck(context.Background(), lot(), edited, settings())
	var unusable design.Unusable
	require.ErrorAs(t, err, &unusable)
	assert.Contains(t, unusable.Error(), `head "H1" stands twice`)
}

// Whatever a map holds is worked out or refused, never a panic.
func FuzzEdited(f *testing.F) {
	f.Add(collection(head(`"head":"H1","throw_m":9,"throw_ft":"x","zone":1e9`)))
	f.Add(collection(head(`"kind":"fixed_arc","model":"x","arc_sweep_deg":1e300`)))
	f.Add(collection(head(`"head":"H1"`), `{"type":"Feature","properties":{"lot":"K1","layer":"pipe","from":"POC","to":"H1","pipe":"P1","size":"1 in","material":"PVC Sch 40"},"geometry":{"type":"LineString","coordinates":[[-30,40],[-30,40.00002]]}}`,
		`{"type":"Feature","properties":{"lot":"K1","layer":"pipe","from":"H1","to":"POC"},"geometry":{"type":"LineString","coordinates":[[-30,40.00002],[-30,40]]}}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		lots, err := asbuilt.Read(context.Background(), geojson.Source{Name: "fuzz", Reader: bytes.NewReader(text)}, importer.Limits{Body: 1 << 20})
		if err != nil {
			return
		}
		for _, l := range lots {
			edited, findings := l.Edited(plane)
			if _, bad := importer.FirstError(findings); bad || len(edited.Heads) > 5 {
				continue
			}
			for _, name := range []string{"variable throw, measured", "sprays, measured"} {
				if d, err := design.Recheck(context.Background(), lot(), edited, kinds()[name]); err == nil {
					feature.Encode(d, feature.Collection)
				}
			}
		}
	})
}
