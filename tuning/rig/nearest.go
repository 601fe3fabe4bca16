package rig

// nearest is the name that differs from what was written by the fewest letters, if by no more than two, and by less
// than half of them.
func nearest(written string, names []string) string {
	best, fewest := "", 3
	for _, name := range names {
		if d := distance(written, name); d < fewest && 2*d < len(name) {
			best, fewest = name, d
		}
	}
	return best
}

// distance is the number of letters to put in, take out or exchange to come from a to b: the edit distance of
// Levenshtein (1966), by the table of Wagner and Fischer (1974), a row at a time. Long words are not worth it.
func distance(a, b string) int {
	if len(a) > 64 {
		return len(a)
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diagonal := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			exchanged := diagonal
			if a[i-1] != b[j-1] {
				exchanged++
			}
			diagonal = row[j]
			row[j] = min(exchanged, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
}
