// Package dbcpeer provides primitives for encoding and decoding storage CAN messages.
//
// Source: dbcpeer/storage.dbc
package dbcpeer

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"sync"
	"time"

	"go.einride.tech/can"
	"go.einride.tech/can/pkg/candebug"
	"go.einride.tech/can/pkg/canrunner"
	"go.einride.tech/can/pkg/cantext"
	"go.einride.tech/can/pkg/descriptor"
	"go.einride.tech/can/pkg/generated"
	"go.einride.tech/can/pkg/socketcan"
)

// prevent unused imports
var (
	_ = context.Background
	_ = fmt.Print
	_ = net.Dial
	_ = http.Error
	_ = sync.Mutex{}
	_ = time.Now
	_ = socketcan.Dial
	_ = candebug.ServeMessagesHTTP
	_ = canrunner.Run
)

// Generated code. DO NOT EDIT.
// TerminalsReader provides read access to a Terminals message.
type TerminalsReader interface {
	can.FrameMarshaler
	// Voltage returns the physical value of the Voltage signal.
	Voltage() float64
	// RawVoltage returns the raw (encoded) value of the Voltage signal.
	RawVoltage() int16
	// Current returns the physical value of the Current signal.
	Current() float64
	// RawCurrent returns the raw (encoded) value of the Current signal.
	RawCurrent() int16
	// Temperature returns the physical value of the Temperature signal.
	Temperature() float64
	// RawTemperature returns the raw (encoded) value of the Temperature signal.
	RawTemperature() int16
	// Charge returns the physical value of the Charge signal.
	Charge() float64
	// RawCharge returns the raw (encoded) value of the Charge signal.
	RawCharge() uint8
	// Health returns the physical value of the Health signal.
	Health() float64
	// RawHealth returns the raw (encoded) value of the Health signal.
	RawHealth() uint8
}

// TerminalsWriter provides write access to a Terminals message.
type TerminalsWriter interface {
	// CopyFrom copies all values from Terminals.
	CopyFrom(TerminalsReader) *Terminals
	// SetVoltage sets the physical value of the Voltage signal.
	SetVoltage(float64) *Terminals
	// SetRawVoltage sets the raw (encoded) value of the Voltage signal.
	SetRawVoltage(int16) *Terminals
	// SetCurrent sets the physical value of the Current signal.
	SetCurrent(float64) *Terminals
	// SetRawCurrent sets the raw (encoded) value of the Current signal.
	SetRawCurrent(int16) *Terminals
	// SetTemperature sets the physical value of the Temperature signal.
	SetTemperature(float64) *Terminals
	// SetRawTemperature sets the raw (encoded) value of the Temperature signal.
	SetRawTemperature(int16) *Terminals
	// SetCharge sets the physical value of the Charge signal.
	SetCharge(float64) *Terminals
	// SetRawCharge sets the raw (encoded) value of the Charge signal.
	SetRawCharge(uint8) *Terminals
	// SetHealth sets the physical value of the Health signal.
	SetHealth(float64) *Terminals
	// SetRawHealth sets the raw (encoded) value of the Health signal.
	SetRawHealth(uint8) *Terminals
}

type Terminals struct {
	xxx_Voltage     int16
	xxx_Current     int16
	xxx_Temperature int16
	xxx_Charge      uint8
	xxx_Health      uint8
}

func NewTerminals() *Terminals {
	m := &Terminals{}
	m.Reset()
	return m
}

func (m *Terminals) Reset() {
	m.xxx_Voltage = 0
	m.xxx_Current = 0
	m.xxx_Temperature = 0
	m.xxx_Charge = 0
	m.xxx_Health = 0
}

func (m *Terminals) CopyFrom(o TerminalsReader) *Terminals {
	f, _ := o.MarshalFrame()
	_ = m.UnmarshalFrame(f)
	return m
}

// Descriptor returns the Terminals descriptor.
func (m *Terminals) Descriptor() *descriptor.Message {
	return Messages().Terminals.Message
}

// String returns a compact string representation of the message.
func (m *Terminals) String() string {
	return cantext.MessageString(m)
}

func (m *Terminals) Voltage() float64 {
	return Messages().Terminals.Voltage.ToPhysical(float64(m.xxx_Voltage))
}

func (m *Terminals) SetVoltage(v float64) *Terminals {
	m.xxx_Voltage = int16(Messages().Terminals.Voltage.FromPhysical(v))
	return m
}

func (m *Terminals) RawVoltage() int16 {
	return m.xxx_Voltage
}

func (m *Terminals) SetRawVoltage(v int16) *Terminals {
	m.xxx_Voltage = int16(Messages().Terminals.Voltage.SaturatedCastSigned(int64(v)))
	return m
}

func (m *Terminals) Current() float64 {
	return Messages().Terminals.Current.ToPhysical(float64(m.xxx_Current))
}

func (m *Terminals) SetCurrent(v float64) *Terminals {
	m.xxx_Current = int16(Messages().Terminals.Current.FromPhysical(v))
	return m
}

func (m *Terminals) RawCurrent() int16 {
	return m.xxx_Current
}

func (m *Terminals) SetRawCurrent(v int16) *Terminals {
	m.xxx_Current = int16(Messages().Terminals.Current.SaturatedCastSigned(int64(v)))
	return m
}

func (m *Terminals) Temperature() float64 {
	return Messages().Terminals.Temperature.ToPhysical(float64(m.xxx_Temperature))
}

func (m *Terminals) SetTemperature(v float64) *Terminals {
	m.xxx_Temperature = int16(Messages().Terminals.Temperature.FromPhysical(v))
	return m
}

func (m *Terminals) RawTemperature() int16 {
	return m.xxx_Temperature
}

func (m *Terminals) SetRawTemperature(v int16) *Terminals {
	m.xxx_Temperature = int16(Messages().Terminals.Temperature.SaturatedCastSigned(int64(v)))
	return m
}

func (m *Terminals) Charge() float64 {
	return Messages().Terminals.Charge.ToPhysical(float64(m.xxx_Charge))
}

func (m *Terminals) SetCharge(v float64) *Terminals {
	m.xxx_Charge = uint8(Messages().Terminals.Charge.FromPhysical(v))
	return m
}

func (m *Terminals) RawCharge() uint8 {
	return m.xxx_Charge
}

func (m *Terminals) SetRawCharge(v uint8) *Terminals {
	m.xxx_Charge = uint8(Messages().Terminals.Charge.SaturatedCastUnsigned(uint64(v)))
	return m
}

func (m *Terminals) Health() float64 {
	return Messages().Terminals.Health.ToPhysical(float64(m.xxx_Health))
}

func (m *Terminals) SetHealth(v float64) *Terminals {
	m.xxx_Health = uint8(Messages().Terminals.Health.FromPhysical(v))
	return m
}

func (m *Terminals) RawHealth() uint8 {
	return m.xxx_Health
}

func (m *Terminals) SetRawHealth(v uint8) *Terminals {
	m.xxx_Health = uint8(Messages().Terminals.Health.SaturatedCastUnsigned(uint64(v)))
	return m
}

// Frame returns a CAN frame representing the message.
func (m *Terminals) Frame() can.Frame {
	md := Messages().Terminals
	f := can.Frame{ID: md.ID, IsExtended: md.IsExtended, Length: md.Length}
	md.Voltage.MarshalSigned(&f.Data, int64(m.xxx_Voltage))
	md.Current.MarshalSigned(&f.Data, int64(m.xxx_Current))
	md.Temperature.MarshalSigned(&f.Data, int64(m.xxx_Temperature))
	md.Charge.MarshalUnsigned(&f.Data, uint64(m.xxx_Charge))
	md.Health.MarshalUnsigned(&f.Data, uint64(m.xxx_Health))
	return f
}

// MarshalFrame encodes the message as a CAN frame.
func (m *Terminals) MarshalFrame() (can.Frame, error) {
	return m.Frame(), nil
}

// UnmarshalFrame decodes the message from a CAN frame.
func (m *Terminals) UnmarshalFrame(f can.Frame) error {
	md := Messages().Terminals
	switch {
	case f.ID != md.ID:
		return fmt.Errorf(
			"unmarshal Terminals: expects ID 853 (got %s with ID %d)", f.String(), f.ID,
		)
	case f.Length != md.Length:
		return fmt.Errorf(
			"unmarshal Terminals: expects length 8 (got %s with length %d)", f.String(), f.Length,
		)
	case f.IsRemote:
		return fmt.Errorf(
			"unmarshal Terminals: expects non-remote frame (got remote frame %s)", f.String(),
		)
	case f.IsExtended != md.IsExtended:
		return fmt.Errorf(
			"unmarshal Terminals: expects standard ID (got %s with extended ID)", f.String(),
		)
	}
	m.xxx_Voltage = int16(md.Voltage.UnmarshalSigned(f.Data))
	m.xxx_Current = int16(md.Current.UnmarshalSigned(f.Data))
	m.xxx_Temperature = int16(md.Temperature.UnmarshalSigned(f.Data))
	m.xxx_Charge = uint8(md.Charge.UnmarshalUnsigned(f.Data))
	m.xxx_Health = uint8(md.Health.UnmarshalUnsigned(f.Data))
	return nil
}

// Nodes returns the storage node descriptors.
func Nodes() *NodesDescriptor {
	return nd
}

// NodesDescriptor contains all storage node descriptors.
type NodesDescriptor struct {
	PACK   *descriptor.Node
	READER *descriptor.Node
}

// Messages returns the storage message descriptors.
func Messages() *MessagesDescriptor {
	return md
}

// MessagesDescriptor contains all storage message descriptors.
type MessagesDescriptor struct {
	Terminals *TerminalsDescriptor
}

// UnmarshalFrame unmarshals the provided storage CAN frame.
func (md *MessagesDescriptor) UnmarshalFrame(f can.Frame) (generated.Message, error) {
	switch f.ID {
	case md.Terminals.ID:
		var msg Terminals
		if err := msg.UnmarshalFrame(f); err != nil {
			return nil, fmt.Errorf("unmarshal storage frame: %w", err)
		}
		return &msg, nil
	default:
		return nil, fmt.Errorf("unmarshal storage frame: ID not in database: %d", f.ID)
	}
}

type TerminalsDescriptor struct {
	*descriptor.Message
	Voltage     *descriptor.Signal
	Current     *descriptor.Signal
	Temperature *descriptor.Signal
	Charge      *descriptor.Signal
	Health      *descriptor.Signal
}

// Database returns the storage database descriptor.
func (md *MessagesDescriptor) Database() *descriptor.Database {
	return d
}

var nd = &NodesDescriptor{
	PACK:   d.Nodes[0],
	READER: d.Nodes[1],
}

var md = &MessagesDescriptor{
	Terminals: &TerminalsDescriptor{
		Message:     d.Messages[0],
		Voltage:     d.Messages[0].Signals[0],
		Current:     d.Messages[0].Signals[1],
		Temperature: d.Messages[0].Signals[2],
		Charge:      d.Messages[0].Signals[3],
		Health:      d.Messages[0].Signals[4],
	},
}

var d = (*descriptor.Database)(&descriptor.Database{
	SourceFile: (string)("dbcpeer/storage.dbc"),
	Version:    (string)(""),
	Messages: ([]*descriptor.Message)([]*descriptor.Message{
		(*descriptor.Message)(&descriptor.Message{
			Name:        (string)("Terminals"),
			ID:          (uint32)(853),
			IsExtended:  (bool)(false),
			Length:      (uint8)(8),
			SendType:    (descriptor.SendType)(0),
			Description: (string)(""),
			Signals: ([]*descriptor.Signal)([]*descriptor.Signal{
				(*descriptor.Signal)(&descriptor.Signal{
					Name:              (string)("Voltage"),
					Start:             (uint8)(0),
					Length:            (uint8)(16),
					IsBigEndian:       (bool)(false),
					IsSigned:          (bool)(true),
					IsFloat:           (bool)(false),
					IsMultiplexer:     (bool)(false),
					IsMultiplexed:     (bool)(false),
					MultiplexerValue:  (uint)(0),
					Offset:            (float64)(0),
					Scale:             (float64)(0.01),
					Min:               (float64)(0),
					Max:               (float64)(100),
					Unit:              (string)("V"),
					Description:       (string)(""),
					ValueDescriptions: ([]*descriptor.ValueDescription)(nil),
					ReceiverNodes: ([]string)([]string{
						(string)("READER"),
					}),
					DefaultValue: (int)(0),
				}),
				(*descriptor.Signal)(&descriptor.Signal{
					Name:              (string)("Current"),
					Start:             (uint8)(16),
					Length:            (uint8)(16),
					IsBigEndian:       (bool)(false),
					IsSigned:          (bool)(true),
					IsFloat:           (bool)(false),
					IsMultiplexer:     (bool)(false),
					IsMultiplexed:     (bool)(false),
					MultiplexerValue:  (uint)(0),
					Offset:            (float64)(0),
					Scale:             (float64)(0.1),
					Min:               (float64)(-2000),
					Max:               (float64)(2000),
					Unit:              (string)("A"),
					Description:       (string)(""),
					ValueDescriptions: ([]*descriptor.ValueDescription)(nil),
					ReceiverNodes: ([]string)([]string{
						(string)("READER"),
					}),
					DefaultValue: (int)(0),
				}),
				(*descriptor.Signal)(&descriptor.Signal{
					Name:              (string)("Temperature"),
					Start:             (uint8)(32),
					Length:            (uint8)(16),
					IsBigEndian:       (bool)(false),
					IsSigned:          (bool)(true),
					IsFloat:           (bool)(false),
					IsMultiplexer:     (bool)(false),
					IsMultiplexed:     (bool)(false),
					MultiplexerValue:  (uint)(0),
					Offset:            (float64)(0),
					Scale:             (float64)(0.1),
					Min:               (float64)(-40),
					Max:               (float64)(120),
					Unit:              (string)("degC"),
					Description:       (string)(""),
					ValueDescriptions: ([]*descriptor.ValueDescription)(nil),
					ReceiverNodes: ([]string)([]string{
						(string)("READER"),
					}),
					DefaultValue: (int)(0),
				}),
				(*descriptor.Signal)(&descriptor.Signal{
					Name:              (string)("Charge"),
					Start:             (uint8)(48),
					Length:            (uint8)(8),
					IsBigEndian:       (bool)(false),
					IsSigned:          (bool)(false),
					IsFloat:           (bool)(false),
					IsMultiplexer:     (bool)(false),
					IsMultiplexed:     (bool)(false),
					MultiplexerValue:  (uint)(0),
					Offset:            (float64)(0),
					Scale:             (float64)(1),
					Min:               (float64)(0),
					Max:               (float64)(100),
					Unit:              (string)("%"),
					Description:       (string)(""),
					ValueDescriptions: ([]*descriptor.ValueDescription)(nil),
					ReceiverNodes: ([]string)([]string{
						(string)("READER"),
					}),
					DefaultValue: (int)(0),
				}),
				(*descriptor.Signal)(&descriptor.Signal{
					Name:              (string)("Health"),
					Start:             (uint8)(56),
					Length:            (uint8)(8),
					IsBigEndian:       (bool)(false),
					IsSigned:          (bool)(false),
					IsFloat:           (bool)(false),
					IsMultiplexer:     (bool)(false),
					IsMultiplexed:     (bool)(false),
					MultiplexerValue:  (uint)(0),
					Offset:            (float64)(0),
					Scale:             (float64)(1),
					Min:               (float64)(0),
					Max:               (float64)(110),
					Unit:              (string)("%"),
					Description:       (string)(""),
					ValueDescriptions: ([]*descriptor.ValueDescription)(nil),
					ReceiverNodes: ([]string)([]string{
						(string)("READER"),
					}),
					DefaultValue: (int)(0),
				}),
			}),
			SenderNode: (string)("PACK"),
			CycleTime:  (time.Duration)(0),
			DelayTime:  (time.Duration)(0),
		}),
	}),
	Nodes: ([]*descriptor.Node)([]*descriptor.Node{
		(*descriptor.Node)(&descriptor.Node{
			Name:        (string)("PACK"),
			Description: (string)(""),
		}),
		(*descriptor.Node)(&descriptor.Node{
			Name:        (string)("READER"),
			Description: (string)(""),
		}),
	}),
})
