package lotwrightv1

import _ "embed" // for the description

// OpenAPI describes the methods over REST, as OpenAPI 2.0 in JSON. It is made of
// the protos.
//
//go:embed designer.swagger.json
var OpenAPI []byte
