// Package rpc answers design requests over gRPC and REST.
//
// It knows the wire and nothing of surveying or hydraulics: how a lot is read
// and how it is designed is handed in (see [Options]), and every proto type
// stops here. A request enters by one of three doors: the gRPC service
// lotwright.v1.Designer; the same methods as JSON, through a gateway that
// calls the gRPC server in process, so that nothing gets round its limits; and
// POST /v1/lots:design, which takes and gives GeoJSON as it is. All three
// design on the same workers and answer with the same bytes for a feature.
//
// A fault of a lot is data: the lot comes back with its status and reason. A
// fault of a request is an error: a google.rpc.Status with details on gRPC, an
// RFC 9457 problem document over HTTP.
package rpc
