package rpc

import (
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/grpc/codes"

	"lotwright/layout/feature"
)

const jsonType = "application/json"

// bodyTypes are what POST /v1/lots:design takes; which of the forms a body is
// in shows in the body.
func bodyTypes() []string { return append(textTypes(), databaseType, archiveType) }

// textTypes are the forms of GeoJSON.
func textTypes() []string {
	return []string{feature.Collection.MediaType(), jsonType, feature.TextSequence.MediaType(), feature.NewlineDelimited.MediaType()}
}

// archiveType is the media type of zipped shapefiles.
const archiveType = "application/zip"

// checkContentType refuses a body that is declared to be anything but one of
// the types, in UTF-8.
func checkContentType(h http.Header, types ...string) error {
	declared, params, err := mime.ParseMediaType(h.Get("Content-Type"))
	charset := params["charset"]
	if err != nil || !slices.Contains(types, declared) || charset != "" && !strings.EqualFold(charset, "utf-8") {
		return faultf(codes.InvalidArgument, reasonMediaType, "Content-Type: got %q, want %s", h.Get("Content-Type"), strings.Join(types, ", "))
	}
	return nil
}

// answer is a form of the answer and the type it is declared as.
type answer struct {
	format    feature.Format
	mediaType string
}

// answers are the forms in order of preference.
func answers() []answer {
	return []answer{
		{feature.Collection, feature.Collection.MediaType()},
		{feature.Collection, jsonType},
		{feature.TextSequence, feature.TextSequence.MediaType()},
		{feature.NewlineDelimited, feature.NewlineDelimited.MediaType()},
	}
}

// negotiate picks the form that the client likes best (RFC 9110 section
// 12.5.1), of several the first of [answers].
func negotiate(h http.Header) (answer, error) {
	accept := strings.Join(h.Values("Accept"), ",")
	if strings.TrimSpace(accept) == "" {
		return answers()[0], nil
	}
	ranges := mediaRanges(accept)
	best, bestQuality := answer{}, 0.0
	for _, a := range answers() {
		if q := quality(ranges, a.mediaType); q > bestQuality {
			best, bestQuality = a, q
		}
	}
	if bestQuality == 0 {
		return answer{}, faultf(codes.InvalidArgument, reasonNotAcceptable, "Accept: got %q, want one of %s", accept, strings.Join(textTypes(), ", "))
	}
	return best, nil
}

type mediaRange struct {
	name    string
	quality float64
}

// mediaRanges skips what it cannot read.
func mediaRanges(accept string) []mediaRange {
	var out []mediaRange
	for part := range strings.SplitSeq(accept, ",") {
		name, params, err := mime.ParseMediaType(part)
		if err != nil {
			continue
		}
		quality := 1.0
		if text, ok := params["q"]; ok {
			quality, err = strconv.ParseFloat(text, 64)
		}
		if err == nil && quality >= 0 && quality <= 1 {
			out = append(out, mediaRange{name, quality})
		}
	}
	return out
}

// quality is that of the most specific range a type lies in; 0 for none.
func quality(ranges []mediaRange, mediaType string) float64 {
	family, _, _ := strings.Cut(mediaType, "/")
	for _, name := range []string{mediaType, family + "/*", "*/*"} {
		for _, r := range ranges {
			if r.name == name {
				return r.quality
			}
		}
	}
	return 0
}
