package rpc

import (
	"encoding/json"
	"net/url"
	"slices"

	"lotwright/layout"
)

// Costs are what a lot costs, in the currency of the price list.
type Costs struct {
	Parts       float64 `json:"parts"`
	LabourHours float64 `json:"labour_hours"`
	Labour      float64 `json:"labour"`
	Total       float64 `json:"total"`
	Unpriced    int     `json:"unpriced"` // lines that the price list has no price for
}

// queryCosts takes the parameter costs from those of a design: whether the
// feature of every lot is to carry what the lot costs.
func (s *Server) queryCosts(rawQuery string) (costs bool, rest string, err error) {
	values, err := url.ParseQuery(rawQuery)
	texts, given := values["costs"]
	if err != nil || !given || s.options.Costs == nil {
		return false, rawQuery, nil // what is wrong is told by who reads the rest
	}
	delete(values, "costs")
	var c checker
	if len(texts) > 1 {
		c.add("costs", "given %d times", len(texts))
	} else if costs, err = parseFlag(texts[0]); err != nil {
		c.add("costs", "%v", err)
	}
	return costs, values.Encode(), c.err()
}

// withCosts adds what a lot costs to its feature, as a foreign member (RFC 7946
// section 6.1) since it is not part of the design.
func (s *Server) withCosts(lot *layout.Lot, d *layout.Design, features [][]byte) [][]byte {
	if lot == nil || len(d.Heads) == 0 {
		return features
	}
	var text []byte
	err := s.recovered("Costs", func() error {
		costs, err := s.options.Costs(lot, d)
		if err == nil {
			text, err = json.Marshal(costs)
		}
		return err
	})
	if err != nil {
		s.options.Log.Error("costs", "lot", d.LotID, "error", err.Error())
		return features
	}
	features[0] = slices.Concat(features[0][:len(features[0])-1], []byte(`,"costs":`), text, []byte("}"))
	return features
}
