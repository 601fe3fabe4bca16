// Package logbook keeps the record of a run: what was commanded, seen, decided and why, and the raw samples beside
// it, so that nothing is lost when a session, a computer or the power goes.
//
// A run is a folder. It holds events.txt, samples.bin, a lock file, and whatever snapshots the caller adds. A record
// is only ever appended to. Create starts one, Resume goes on with one, Open reads one, Verify examines one.
//
//	writer, err := logbook.Create(logbook.OSFS{}, dir, header, wall)
//	writer.WriteSample(sample)                          // every sample, as it comes
//	writer.Append("reading", wall, payload, true)       // returns once it is on the disk
//	writer.Tick(now)                                    // several times a second
//	writer.Close(wall)
//
// What is promised, on a disk that tells the truth about what it has stored:
//
//   - A killed process loses at most the one sample or event that it was handing over. Every sample and every event
//     is one write to the operating system.
//   - A power cut loses at most a second, as long as Tick is called at least every 200 ms and the disk syncs in less
//     than 300 ms. Where nobody calls Tick, WriteSample itself syncs after a second on the controller's clock.
//   - A durable event has been synced, and all samples before it as well, when Append returns.
//   - A reader gets the longest valid prefix of the events and every sample that can be trusted, and is told of the
//     rest. A torn tail is normal after a crash. A bad record followed by good ones is corruption.
//   - Nothing is repaired in place. Resume first copies a torn tail to a file of its own beside.
//
// The package owns the envelope of an event: sequence, wall time, kind, and how many samples came before it. The
// payload is the caller's, any JSON. It has no clock, starts no goroutine, and reaches the disk only through FS;
// osfs.go is the one file that knows the os package.
//
// Beside those there may be copies of torn tails (events-tail- or samples-tail- and the offset) and temporary files that
// a crash left (.part and a number at the end). The text in the lock file says who writes the record.
//
// It does not know what an event means, does not compress, does not rotate, and does not lock readers out: a record
// may be read while it is being written.
//
// A Writer may be used by several goroutines. Samples do not wait for a sync that another goroutine runs; events are
// written one at a time in the order of the calls. Record, Samples and Recovery are for reading and may be shared.
//
// # Format 1 of events.txt
//
// Everything in this section is part of the format, never change. UTF-8 text, one line an event, each ended by LF:
//
//	00000017 9ab03c5e {"kind":"reading","wall":"2026-03-01T19:30:00.25+01:00","samples":4211,"durable":true,"payload":{...}}
//	|        |        |
//	|        |        JSON on one line, without spaces between its parts, no LF inside
//	|        CRC-32C of the rest of the line, 8 hexadecimal digits, lower case
//	sequence, 8 decimal digits, rising by one from 00000001
//
// The checksum covers the sequence digits, one space and the JSON: the line without the checksum, the space behind
// it and the LF.
//
// JSON of an event:
//   - kind (text): what happened; of letters, digits, hyphens and inner spaces, 1 to 40 characters.
//   - wall (text): wall time as in RFC 3339, with as many decimals as needed.
//   - samples (number): how many samples were recorded before this event. In a durable event, and only there, all of
//     them are on the disk.
//   - durable (true, or left out): the event was synced before it was acknowledged.
//   - payload (any JSON): the caller's.
//
// A reader passes over names that it does not know. Three kinds belong to the logbook itself:
//   - record: always the first line, and only there. Payload: format (1), software (text), rig (text, the hash of
//     the rig description), samples_file (text), counters and axes (numbers, how many of each a sample holds). The
//     layout of this line, and format in its payload, stay as they are in every later format.
//   - resumed: somebody goes on with the record. Payload: software, and events_tail and samples_tail where a torn
//     tail was set aside: offset and bytes (numbers) and file (text, its copy).
//   - closed: the record was ended on purpose. Payload: samples (number recorded), samples_bytes (length of
//     samples.bin).
//
// # Format 1 of samples.bin
//
// Everything in this section is part of the format, never change. Numbers of fixed width are little-endian. Times
// are microseconds on the controller's clock, pulses tenths of a microsecond. The file header, 20 bytes:
//
//	offset 0            8           10         11       12        16         20
//	       +------------+-----------+----------+--------+---------+----------+
//	       | "TRUNSMPL" | version 1 | counters | axes   | owner   | checksum |
//	       +------------+-----------+----------+--------+---------+----------+
//	         8 bytes      uint16      uint8      uint8    uint32    uint32
//
// owner is the checksum of the first line of events.txt, which ties the two files together. checksum is the CRC-32C
// of the 16 bytes before it. These 20 bytes keep their layout in every later format.
//
// Then one record a sample, of two kinds. A full record starts with the byte FF and stands by itself:
//
//	marker      4 bytes  FF 53 4D 50
//	position    uint64   how many samples come before this one in the file, lost ones included
//	connection  uint32   from 1; sequence and times run on within one connection only
//	sequence    uint64   of the sample
//	at          int64    when the counters were latched
//	state       uint8
//	cause       uint8
//	flags       uint8
//	closed      uint8    bit n: the loop of axis n is closed
//	counters    each: count int64, last edge int64 (0 is not known)
//	axes        each: pulse uint16 (0 is none), since int64 (0 is not known)
//	checksum    uint32   CRC-32C of: the header's 4 checksum bytes, then this record up to here
//
// A difference record adds to the record right before it:
//
//	length      uint8    1 to 254, the number of bytes of the body
//	body        see below
//	checksum    uint32   CRC-32C of: the header's 4 checksum bytes, the 4 checksum bytes of the record before, then
//	                     this record up to here
//
// The body, where u is an unsigned number in base 128 with the low part first and the top bit of a byte meaning that
// more follow, and s is a signed one, sent as the unsigned 2v for v >= 0 and -2v-1 for v < 0. Differences wrap around
// at 64 bits. The step of a value is its difference from the record before; the steps of a full record are 0.
//
//	has         uint8    bit 0 sequence, bit 1 status, bit 2 closed, bit 3 axes; the others 0
//	at          s        its step less its step in the record before
//	sequence    s        if bit 0: sequence less the one before; else it rises by one
//	status      3 bytes  if bit 1: state, cause, flags; else as before
//	closed      uint8    if bit 2; else as before
//	how         2 bits a counter, low bits first, in as few bytes as hold them, spare bits 0
//	counters    for each whose how is not 0:
//	              count  s   its step less its step in the record before
//	              edge   how 1: u, at less last edge; how 2: nothing, the edge is not known (0);
//	                     how 3: s, at less last edge
//	            for how 0, count and last edge are as before, and the step is 0
//	axes        if bit 3: uint8, bit n: axis n follows; then for each of those:
//	              pulse  s   pulse less the one before
//	              since  s   at less since
//
// The first record is full; so is the first of a connection, the first one at least a second of samples after the
// last full one, and any whose body would not fit in 254 bytes.
//
// CRC-32C is the CRC of RFC 3720, section 12.1 (from memory): polynomial 1EDC6F41, start FFFFFFFF, bits reflected in
// and out, final complement; its check value over the digits 1 to 9 is E3069283.
package logbook
