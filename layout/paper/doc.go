// Package paper holds a page as a list of marks: lines, areas with hatches,
// circles and words. It knows nothing of lawns.
//
// A page unit is 1/100 in, X runs to the right and Y down. The marks go to any
// [Canvas]; [Page.WriteSVG] is one. How wide words are is estimated from above,
// so that what fits here fits in whichever sans-serif face a page is shown in.
package paper
