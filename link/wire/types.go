package wire

import "fmt"

// The protocol that this package speaks. Majors that differ do not understand
// each other; a minor adds messages, reasons and flags and changes none.
const (
	Major = 1
	Minor = 0
)

// Sizes of a frame.
const (
	MaxFrame   = 250                   // bytes from type to checksum, before stuffing
	MaxPayload = MaxFrame - frameExtra // bytes between number and checksum
	MaxLine    = MaxFrame + 2          // bytes on the line: one of stuffing, one delimiter
	frameExtra = 1 + 2 + 2             // type, number, checksum
)

// BaseBaud is the line rate at which every connection opens.
const BaseBaud = 115200

// Type of a message, the first byte of a frame.
type Type uint8

// Messages from the host.
const (
	TypeHello        Type = 0x01
	TypeHeartbeat    Type = 0x02
	TypeDescribe     Type = 0x03
	TypeSampleRate   Type = 0x04
	TypeLineRate     Type = 0x05
	TypeArm          Type = 0x06
	TypePark         Type = 0x07
	TypeStop         Type = 0x08
	TypeClear        Type = 0x09
	TypeDrive        Type = 0x0a
	TypeSelect       Type = 0x0b
	TypeTilt         Type = 0x0c
	TypePulseLimits  Type = 0x0d
	TypeNeutral      Type = 0x0e
	TypeGuards       Type = 0x0f
	TypeTravelLimits Type = 0x10
	TypeDatum        Type = 0x11
	TypeTable        Type = 0x12
	TypeGains        Type = 0x13
	TypeReadTable    Type = 0x14
	TypeReadGains    Type = 0x15
	TypeSetPoint     Type = 0x16
	TypeStream       Type = 0x17
	TypeRelease      Type = 0x18
)

// Messages from the controller.
const (
	TypeAck                Type = 0x40
	TypeRefuse             Type = 0x41
	TypeIdentity           Type = 0x42
	TypeCounterDescription Type = 0x43
	TypeAxisDescription    Type = 0x44
	TypeSample             Type = 0x45
	TypeNotice             Type = 0x46
	TypeTableReport        Type = 0x47
	TypeGainsReport        Type = 0x48
)

// FromHost reports whether t lies in the range of the host's messages, known or
// not.
func (t Type) FromHost() bool { return t >= 0x01 && t <= 0x3f }

// String is the name by which PROTOCOL.md and the vectors call the message.
func (t Type) String() string {
	if k, ok := kinds[t]; ok {
		return k.name
	}
	return fmt.Sprintf("type 0x%02x", uint8(t))
}

// kind is what the package knows of a type of message.
type kind struct {
	name  string
	parse func(*reader) Message
}

// kinds is filled by init, since its functions lead back to it.
var kinds map[Type]kind

func init() {
	kinds = map[Type]kind{
		TypeHello:              {"hello", parseHello},
		TypeHeartbeat:          {"heartbeat", func(*reader) Message { return Heartbeat{} }},
		TypeDescribe:           {"describe", parseDescribe},
		TypeSampleRate:         {"sample-rate", parseSampleRate},
		TypeLineRate:           {"line-rate", parseLineRate},
		TypeArm:                {"arm", parseArm},
		TypePark:               {"park", func(*reader) Message { return Park{} }},
		TypeStop:               {"stop", func(*reader) Message { return Stop{} }},
		TypeClear:              {"clear", func(*reader) Message { return Clear{} }},
		TypeDrive:              {"drive", parseDrive},
		TypeSelect:             {"select", parseSelect},
		TypeTilt:               {"tilt", parseTilt},
		TypePulseLimits:        {"pulse-limits", parsePulseLimits},
		TypeNeutral:            {"neutral", parseNeutral},
		TypeGuards:             {"guards", parseGuards},
		TypeTravelLimits:       {"travel-limits", parseTravelLimits},
		TypeDatum:              {"datum", parseDatum},
		TypeTable:              {"table", func(r *reader) Message { return Table(parseTablePart(r)) }},
		TypeGains:              {"gains", func(r *reader) Message { return Gains(parseLoopGains(r)) }},
		TypeReadTable:          {"read-table", parseReadTable},
		TypeReadGains:          {"read-gains", parseReadGains},
		TypeSetPoint:           {"set-point", parseSetPoint},
		TypeStream:             {"stream", parseStream},
		TypeRelease:            {"release", parseRelease},
		TypeAck:                {"ack", parseAck},
		TypeRefuse:             {"refuse", parseRefuse},
		TypeIdentity:           {"identity", parseIdentity},
		TypeCounterDescription: {"counter-description", parseCounterDescription},
		TypeAxisDescription:    {"axis-description", parseAxisDescription},
		TypeSample:             {"sample", parseSample},
		TypeNotice:             {"notice", parseNotice},
		TypeTableReport:        {"table-report", func(r *reader) Message { return TableReport(parseTablePart(r)) }},
		TypeGainsReport:        {"gains-report", func(r *reader) Message { return GainsReport(parseLoopGains(r)) }},
	}
}

// Message is what a frame carries: one of the structs of this package, as a
// value.
type Message interface {
	Type() Type

	appendTo([]byte) []byte // the payload
	check() bool            // no field has an impossible value
	fields(*text)           // for Frame.String
}

// Frame is one message with its number: the request's in frames of the host and
// in the answers to them, the sequence in samples, a running number in notices.
type Frame struct {
	Number  uint16
	Message Message
}
