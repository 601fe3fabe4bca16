package wire

// Encode appends the frame in its form on the line, stuffed and with its
// delimiter, to dst. Its error is a *Malformed: what a receiver would not take
// is not sent.
func Encode(dst []byte, f Frame) ([]byte, error) {
	if f.Message == nil {
		return dst, &Malformed{Number: f.Number, Fault: FaultType}
	}
	t := f.Message.Type()
	if !f.Message.check() {
		return dst, &Malformed{Type: t, Number: f.Number, Fault: FaultValue}
	}
	if !numberFits(t, f.Number) {
		return dst, &Malformed{Type: t, Number: f.Number, Fault: FaultNumber}
	}
	start := len(dst)
	b := append(dst, 0, uint8(t)) // room for the first code byte, then the frame
	b = little.AppendUint16(b, f.Number)
	b = f.Message.appendTo(b)
	b = little.AppendUint16(b, Checksum(b[start+1:])) // what check lets pass fits MaxFrame
	stuff(b[start:])
	return append(b, 0), nil
}

// open takes the bytes between two delimiters apart, in place. Its error is a
// *BadFrame. A line of at most MaxFrame+1 bytes holds no longer frame.
func open(line []byte) (t Type, number uint16, payload []byte, sum uint16, err error) {
	length := len(line)
	b, ok := unstuff(line)
	switch {
	case !ok:
		err = &BadFrame{Fault: FaultCOBS, Length: length}
	case len(b) < frameExtra:
		err = &BadFrame{Fault: FaultShort, Length: length}
	default:
		end := len(b) - 2
		sum = little.Uint16(b[end:])
		if Checksum(b[:end]) != sum {
			err = &BadFrame{Fault: FaultCRC, Length: length}
			break
		}
		return Type(b[0]), little.Uint16(b[1:]), b[3:end], sum, nil
	}
	return 0, 0, nil, 0, err
}

// parse reads a payload. Its error is a *Malformed. The message keeps nothing
// of p; r is a reader to work with.
func parse(r *reader, t Type, number uint16, p []byte, shape Shape) (Message, error) {
	bad := func(f Fault) (Message, error) {
		return nil, &Malformed{Type: t, Number: number, Fault: f, Detail: len(p)}
	}
	k, known := kinds[t]
	switch {
	case !known:
		return bad(FaultType)
	case !numberFits(t, number):
		return bad(FaultNumber)
	case t == TypeHello && len(p) >= 1 && p[0] != Major:
		// Another major may have another hello; its first byte stays.
		return nil, &Malformed{Type: t, Number: number, Fault: FaultVersion, Detail: int(p[0])}
	case t == TypeSample && !shape.fits():
		return bad(FaultShape)
	}
	*r = reader{rest: p, shape: shape}
	m := k.parse(r)
	if r.short || len(r.rest) > 0 {
		return bad(FaultLength)
	}
	if !m.check() {
		return bad(FaultValue)
	}
	return m, nil
}
