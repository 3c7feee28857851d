// Package sheet makes what a crew takes along: for each lot a field sheet to
// scale, with tables and an order of work, and for a batch one bound book.
//
// Every sheet is a list of pages of paper ([lotwright/layout/paper]), which go to
// SVG or PDF alike. The plan comes from [lotwright/layout/drawing], the stake-out
// from [lotwright/layout/stakeout]; parts, cut list and run times come in as
// tables, so that this package knows nothing of them.
//
// # Legibility
//
// Sheets are printed in black and white and read outdoors: areas have hatches,
// lines have dashes and status has symbols, and no text is smaller than 6 pt (8.4
// page units), ids on a crowded index map excepted.
//
// # Faces
//
// PDF embeds the Go faces (B. Daggers, C. Bigelow and K. Holmes, 2016; BSD
// licence), which cover Latin, Greek and Cyrillic. Letters beyond are written as
// their code points in lot ids, where they tell lots apart, and as a square
// elsewhere. SVG asks for any sans-serif face.
package sheet
