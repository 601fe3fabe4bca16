// Package chart draws data into a canvas: ratio curves, the tries of a dead-band
// search, the recent past of a live value, progress. Each function depends on
// nothing but the data and the size and signs of the canvas, and fills the canvas
// it is given. Nothing here knows of screens or sessions.
//
// Signs carry the meaning, colour only supports it: o is a reading outward, or a
// try that turned; x is a reading inward, or a try that stood still; * is both at
// one place.
package chart
