package assemble

import (
	"lotwright/importer"
	"lotwright/layout"
	"lotwright/layout/feature"
)

// mostDrawn is how many features of designs a lot may bring besides those of its
// survey.
const mostDrawn = 10_000

// drawnLayers are the layers of a design that are no layers of a survey.
var drawnLayers = func() map[layout.Layer]bool {
	out := map[layout.Layer]bool{}
	for _, l := range feature.Schema() {
		out[layout.Layer(l.Name)] = true
	}
	for _, l := range layout.InputLayers() {
		delete(out, l)
	}
	return out
}()

// setAside keeps the features of the survey and returns those of designs: with
// all heads, or, where only the survey is wanted, without those that may be
// pinned. What is left out then is remarked on.
func (b *builder) setAside(features []importer.Feature, designs bool) (drawn []importer.Feature) {
	for _, x := range features {
		if drawnLayers[x.Layer] || designs && x.Layer == layout.LayerHead {
			drawn = append(drawn, x)
			continue
		}
		b.features = append(b.features, x)
	}
	if designs || len(drawn) == 0 {
		return drawn
	}
	b.find(importer.Found(layout.SeverityInfo, "layer.design", "%d features of an earlier design were left out; of its heads, those that are fixed stay", len(drawn)))
	return nil
}
