package wire

// Result is what a Decoder found between two delimiters: a frame, or an error,
// a *BadFrame or a *Malformed.
type Result struct {
	Frame Frame  // its Message is nil if Err is not
	Sum   uint16 // the frame's checksum: two requests of one number and one sum are the same request; 0 with a *BadFrame
	Err   error
}

// Stats counts what a Decoder has found.
type Stats struct {
	Good      uint64 // frames whose message was read
	Malformed uint64 // good frames whose message was not
	COBS      uint64 // frames dropped, by fault
	Short     uint64
	Long      uint64
	CRC       uint64
}

// Dropped is how many bad frames were dropped.
func (s Stats) Dropped() uint64 { return s.COBS + s.Short + s.Long + s.CRC }

// Decoder finds frames in a stream of bytes. Its zero value is ready. How the
// stream is split between calls makes no difference.
type Decoder struct {
	line  [MaxFrame + 1]byte // what came since the last delimiter
	n     int                // of it; more than len(line) is too long a frame
	shape Shape
	stats Stats

	reader reader // kept here so that reading a frame need not allocate it
}

// SetShape tells the decoder the shape of samples. It learns it by itself from
// an identity that passes through it.
func (d *Decoder) SetShape(s Shape) { d.shape = s }

// Stats returns what was found so far.
func (d *Decoder) Stats() Stats { return d.stats }

// Reset forgets a frame that is not complete, as after a change of line rate.
func (d *Decoder) Reset() { d.n = 0 }

// Feed takes bytes from the line and returns what they complete, in order.
// Nothing between two delimiters is no frame, and no fault.
func (d *Decoder) Feed(p []byte) []Result {
	var results []Result
	for _, b := range p {
		if b != 0 {
			if d.n < len(d.line) {
				d.line[d.n] = b
			}
			d.n++
			continue
		}
		if d.n > 0 {
			results = append(results, d.finish())
		}
		d.n = 0
	}
	return results
}

// finish reads the frame that a delimiter has ended.
func (d *Decoder) finish() Result {
	if d.n > len(d.line) {
		return d.drop(&BadFrame{Fault: FaultLong, Length: d.n})
	}
	t, number, payload, sum, err := open(d.line[:d.n])
	if err != nil {
		return d.drop(err.(*BadFrame))
	}
	m, err := parse(&d.reader, t, number, payload, d.shape)
	if err != nil {
		d.stats.Malformed++
		return Result{Frame: Frame{Number: number}, Sum: sum, Err: err}
	}
	d.stats.Good++
	if id, ok := m.(Identity); ok {
		d.shape = id.Shape()
	}
	return Result{Frame: Frame{Number: number, Message: m}, Sum: sum}
}

func (d *Decoder) drop(err *BadFrame) Result {
	switch err.Fault {
	case FaultCOBS:
		d.stats.COBS++
	case FaultShort:
		d.stats.Short++
	case FaultLong:
		d.stats.Long++
	case FaultCRC:
		d.stats.CRC++
	}
	return Result{Err: err}
}
