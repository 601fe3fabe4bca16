package wire

// stuff turns p into COBS form in place. The data stand in p[1:], with no run
// of more than 254 bytes other than 0x00, as every frame of this protocol has
// it; p[0] is room for the first code byte, the one byte that stuffing adds
// then. No byte of the result is 0x00.
func stuff(p []byte) {
	code := 0 // where the running block's code byte stands
	for i := 1; i < len(p); i++ {
		if p[i] == 0 {
			p[code] = byte(i - code)
			code = i
		}
	}
	p[code] = byte(len(p) - code)
}

// unstuff undoes stuff, for data of any kind, in place, and returns the data, a
// part of p. It reports false if p is not COBS: a 0x00 inside, or a block that p
// cuts short. It takes a last code byte 0x01 after a full block, which some
// encoders write.
func unstuff(p []byte) ([]byte, bool) {
	n := 0
	for i := 0; i < len(p); {
		code := int(p[i])
		end := i + code
		if code == 0 || end > len(p) {
			return nil, false
		}
		for i++; i < end; i++ {
			if p[i] == 0 {
				return nil, false
			}
			p[n] = p[i]
			n++
		}
		if code != 0xff && end < len(p) {
			p[n] = 0
			n++
		}
	}
	return p[:n], true
}
