// Package positioning evaluates how exactly an axis goes where it is sent, from readings at targets approached from both
// sides: the bidirectional test of ISO 230-2, with its names and symbols (edition of 2014, two standard deviations; 2006
// and 2014 say error where older editions say deviation).
//
// # How it is used
//
// Plan gives targets that are not evenly spaced, and Sequence the order in which they are visited. The readings come from
// the axis's own sensor, which proves the control but not the machine, or from a dial or protractor by hand. Evaluate
// turns them into results.
//
// Positions are in any one unit; JSON names say only "units". Functions are pure.
//
// # Errors
//
// Every result carries a standard error for readings that scatter normally and independently: of a mean s/sqrt(n), of s
// itself s/sqrt(2(n-1)). Results that are greatest or least over the targets carry the error at the targets found so;
// that they were chosen for being extreme makes them too large on average, the more the fewer runs, and is not in it.
// Where a reversal value is no larger than its own error, that of the repeatability both ways is stated too large.
//
// # Not here
//
// Thermal drift, machine temperature and the uncertainty of the measuring device belong to a full test report by the
// standard; they are not evaluated.
//
// # Sources
//
// ISO 230-2 by way of secondary texts and of a published report whose data are in fixtures/positioning; the numbers of
// targets for turning axes are from memory.
package positioning
