// Package drawing draws lots, batches of lots and pressure scenarios as SVG: to
// scale, with words of the trade, readable in colour and in black and white.
//
// The same design always gives the same bytes. Pictures hold no scripts and
// refer to nothing outside themselves; every word from the input is cleaned of
// control characters and escaped.
//
// # Page
//
// A plan is a landscape sheet of 11 × 8.5 in whose margins also fit A4. One
// unit is 1/100 in, so that the stated scale holds when it is printed at full
// size. A contact sheet is as long as its lots need.
//
// # Colour
//
// The hues are those of M. Okabe and K. Ito, "Color Universal Design" (2008),
// reprinted by B. Wong, Nature Methods 8:441 (2011), or tints of them; no
// meaning rests on colour alone: each area has its hatch, each line its dash
// and each status its symbol.
package drawing
