package plat

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strconv"
)

// File is one file of the data set.
type File struct {
	Name string
	Data []byte
}

// Layers lists the layers of the subdivision in the order they are written.
func Layers() []string {
	return []string{"parcel", "building", "hardscape", "water", "wall", "turf", "bed", "tree", "no_dig", "sleeve", "source", "controller"}
}

// Files returns the whole data set: the labelled collection, cut at the lot
// lines; one file per layer, nothing cut and without lot ids but on parcels;
// and a picture.
func (s *Survey) Files() ([]File, error) {
	labelled, err := s.Labelled()
	if err != nil {
		return nil, err
	}
	parcels := s.parcelRecords()
	out := []File{{"subdivision.geojson", collection(slices.Concat(parcels, records(labelled, true)))}}
	for _, layer := range Layers() {
		recs := records(s.ofLayer(layer), false)
		if layer == "parcel" {
			recs = parcels
		}
		out = append(out, File{layer + ".geojson", collection(recs)})
	}
	return append(out, File{"plat.svg", s.picture()}), nil
}

func (s *Survey) ofLayer(layer string) []Feature {
	return slices.DeleteFunc(slices.Clone(s.Features), func(f Feature) bool { return f.Layer != layer })
}

// record is one GeoJSON feature, ready but for its text.
type record struct {
	properties string
	kind       Kind
	at         []XY
}

func (s *Survey) parcelRecords() []record {
	var out []record
	for _, l := range s.Lots {
		props := fmt.Sprintf(`"lot":%q,"layer":"parcel"`, l.ID)
		for _, p := range l.Supply {
			props += fmt.Sprintf(",%q:%s", p.Name, strconv.FormatFloat(p.Value, 'f', -1, 64))
		}
		out = append(out, record{props, Polygon, l.Outline})
	}
	return out
}

// records writes features in order of lots, then layers, then as drawn.
func records(features []Feature, labelled bool) []record {
	order := slices.Clone(features)
	if labelled {
		slices.SortStableFunc(order, func(a, b Feature) int {
			return cmp.Or(cmp.Compare(a.Lots[0], b.Lots[0]),
				cmp.Compare(slices.Index(Layers(), a.Layer), slices.Index(Layers(), b.Layer)))
		})
	}
	var out []record
	for _, f := range order {
		props := fmt.Sprintf(`"layer":%q`, f.Layer)
		if labelled {
			props = fmt.Sprintf(`"lot":%q,"layer":%q`, f.Lots[0], f.Layer)
		}
		out = append(out, record{props, f.Kind, f.At})
	}
	return out
}

func collection(recs []record) []byte {
	var b bytes.Buffer
	b.WriteString(`{"type":"FeatureCollection","features":[` + "\n")
	for i, r := range recs {
		if i > 0 {
			b.WriteString(",\n")
		}
		fmt.Fprintf(&b, `{"type":"Feature","properties":{%s},"geometry":{"type":%q,"coordinates":%s}}`,
			r.properties, string(r.kind), coordinates(r.kind, r.at))
	}
	b.WriteString("\n]}\n")
	return b.Bytes()
}

func coordinates(kind Kind, at []XY) string {
	switch kind {
	case Point:
		return lonLat(at[0])
	case Polygon:
		return "[" + positions(append(slices.Clone(at), at[0])) + "]"
	}
	return positions(at)
}

func positions(at []XY) string {
	var b bytes.Buffer
	for i, p := range at {
		b.WriteByte("[,"[min(i, 1)])
		b.WriteString(lonLat(p))
	}
	return b.String() + "]"
}

// The plat's origin lies in the open Atlantic. Lengths of a degree there are
// those of WGS 84 at 40° north (ellipsoid formula); over the 250 m of the plat
// they change by less than 1 in 20 000.
const (
	originLon, originLat = -30.0, 40.0

	metresPerDegreeLat = 111034.6
	metresPerDegreeLon = 85393.6
)

func lonLat(p XY) string {
	return fmt.Sprintf("[%.8f,%.8f]", originLon+p.X/metresPerDegreeLon, originLat+p.Y/metresPerDegreeLat)
}
