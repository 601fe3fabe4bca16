package wire

// NextNumber is the number of the request after the one numbered n. It counts
// from 1 to 65535 and on to 1; a connection's first request has NextNumber(0).
func NextNumber(n uint16) uint16 {
	if n == 0xffff {
		return 1
	}
	return n + 1
}

// Newer reports whether the number n comes after last, modulo 65536: whether it
// lies 1 to 32767 ahead.
func Newer(n, last uint16) bool {
	ahead := n - last
	return ahead >= 1 && ahead <= 0x7fff
}

// numberFits reports whether a frame of type t may carry the number n. Hello
// and heartbeat stand outside the count of requests and carry 0.
func numberFits(t Type, n uint16) bool {
	switch {
	case t == TypeHello || t == TypeHeartbeat:
		return n == 0
	case t.FromHost():
		return n != 0
	}
	return true
}
