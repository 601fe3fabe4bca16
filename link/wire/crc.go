package wire

// Checksum is the CRC-16/IBM-3740 of p: width 16, polynomial 0x1021, start
// 0xFFFF, neither input nor output reflected, no final exclusive-or. Its check
// value, that of the text "123456789", is 0x29B1.
func Checksum(p []byte) uint16 {
	sum := uint16(0xffff)
	for _, b := range p {
		sum = sum<<8 ^ crcTable[byte(sum>>8)^b]
	}
	return sum
}

var crcTable = func() (table [256]uint16) {
	for i := range table {
		sum := uint16(i) << 8
		for range 8 {
			carry := sum&0x8000 != 0
			sum <<= 1
			if carry {
				sum ^= 0x1021
			}
		}
		table[i] = sum
	}
	return table
}()
