package rpc

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"

	"lotwright/layout"
	"lotwright/layout/feature"
	pb "lotwright/proto/lotwright/v1"
)

// designMessage converts a design. The figures are read off the lot's own
// feature, so that message and GeoJSON cannot differ.
func designMessage(d *layout.Design) *pb.Design {
	features := feature.Features(d)
	m := figures(features[0])
	m.Lot, m.Reason = valid(d.LotID), valid(d.Reason)
	m.Status = pb.Design_Status(pb.Design_Status_value[strings.ToUpper(string(d.Status))])
	m.HeadKind = pb.Design_HeadKind(pb.Design_HeadKind_value[strings.ToUpper(string(d.HeadKind))])
	m.Proof = pb.Design_Proof(pb.Design_Proof_value[strings.ToUpper(string(d.Proof.Kind))])
	for _, n := range d.Notes {
		m.Notes = append(m.Notes, noteMessage(d.Plane, n))
	}
	m.Geojson = collection(features)
	return m
}

// figures reads the properties that message and lot feature have in common.
func figures(lotFeature []byte) *pb.Design {
	var f struct {
		Properties json.RawMessage `json:"properties"`
	}
	m := &pb.Design{}
	if err := json.Unmarshal(lotFeature, &f); err != nil {
		panic("bug in figures: a feature is not JSON: " + err.Error())
	}
	if err := (protojson.UnmarshalOptions{DiscardUnknown: true}).Unmarshal(f.Properties, m); err != nil {
		panic("bug in figures: a property does not fit its field: " + err.Error())
	}
	return m
}

func collection(features [][]byte) string {
	var buf bytes.Buffer
	w := feature.NewWriter(&buf, feature.Collection)
	// Writing to a buffer cannot fail.
	_ = w.WriteFeatures(features)
	_ = w.Close()
	return buf.String()
}

func noteMessage(plane layout.Plane, n layout.Note) *pb.Note {
	m := &pb.Note{
		Rule:     valid(n.Rule),
		Severity: pb.Note_Severity(pb.Note_Severity_value[strings.ToUpper(string(n.Severity))]),
		Text:     valid(n.Text),
	}
	if plane != nil && n.At != nil {
		lon, lat := plane.LonLat(float64(n.At.X), float64(n.At.Y))
		m.Place = &pb.Place{LonDeg: asWritten(lon), LatDeg: asWritten(lat)}
	}
	return m
}

// asWritten rounds degrees to the 8 decimals that GeoJSON is written with.
func asWritten(degrees float64) float64 { return math.Round(degrees*1e8) / 1e8 }

// outcomeMessage is the short form of a design, for comparing pressures.
func outcomeMessage(asked layout.Pressure, d *layout.Design) *pb.PressureOutcome {
	m := designMessage(d)
	return &pb.PressureOutcome{
		AskedKpa: asked.KPa(), Status: m.Status, Reason: m.Reason,
		Heads: m.Heads, HeadsBound: m.HeadsBound, Proof: m.Proof, Coverage: m.Coverage,
		ThrowM: m.ThrowM, PressureKpa: m.PressureKpa, TrenchM: m.TrenchM, PipeM: m.PipeM,
	}
}
