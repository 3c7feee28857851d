// Package ogc shows the designs of stored batches to mapping tools: OGC API –
// Features (17-069r4; 18-058r1 for other reference systems) with one landing
// page a batch, and the same features as vector tiles (OGC API – Tiles,
// 20-057). It only reads.
//
// What is shown is the latest revision that is complete. A revision does not
// change, so what every feature's bounds are is worked out once and kept; the
// features themselves stay in the store and are passed on as they were written.
// A client that pages stays with the revision it began with, by what stands in
// its next links.
package ogc
