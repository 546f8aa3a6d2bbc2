package main

import (
	"encoding/hex"
	"encoding/json"
	"io"
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"packlink/mapping"
	"packlink/mapping/library"
	"packlink/transport"
)

// simulatedCapture is a minute of a built-in mapping's traffic, and how many frames it has.
func simulatedCapture(t *testing.T, c *mapping.Compiled) (path string, frames int) {
	t.Helper()
	path = filepath.Join(t.TempDir(), c.Name+".pcapng")
	_, log := runFor(t, time.Minute, "simulate", "--mapping", c.Name, "--to", path, "--for", "1m")
	number, _, _ := strings.Cut(log, " frames of 1m0s")
	frames, err := strconv.Atoi(number)
	if err != nil || frames < 10 {
		t.Fatalf("the capture has too few frames: %s", log)
	}
	return path, frames
}

// TestDissectorReadsSimulation lets tshark read a simulated capture of every built-in
// mapping: it finds the frames that packlink finds, byte for byte, and none malformed.
func TestDissectorReadsSimulation(t *testing.T) {
	needPeer(t, "tshark")
	for _, name := range library.Names() {
		c, err := library.Compile(name)
		if err != nil {
			t.Fatal(err)
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			path, frames := simulatedCapture(t, c)
			got := strings.Split(tshark(t, "-r", path, "-T", "fields", "-e", "frame.number", "-e", "can.id", "-e", "data.data"), "\n")
			if diff := cmp.Diff(framesOf(t, path), got); diff != "" || len(got) != frames {
				t.Errorf("of %d frames tshark reads %d, and otherwise than packlink: %s", frames, len(got), diff)
			}
			if bad := tshark(t, "-r", path, "-Y", "_ws.malformed", "-T", "fields", "-e", "frame.number"); bad != "" {
				t.Errorf("tshark finds these frames malformed: %s", bad)
			}
		})
	}
}

// framesOf are the frames of a capture as packlink reads them, in the form of tshark's
// fields: number, id, data.
func framesOf(t *testing.T, path string) (lines []string) {
	t.Helper()
	r, err := openCapture(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for f := (transport.Frame{}); ; {
		err := r.Receive(&f)
		if err == io.EOF {
			return lines
		}
		if err != nil {
			t.Fatal(err)
		}
		id := ""
		if f.Medium == transport.CAN {
			id = strconv.FormatUint(uint64(f.ID), 10)
		}
		lines = append(lines, strconv.Itoa(len(lines)+1)+"\t"+id+"\t"+hex.EncodeToString(f.Data))
	}
}

// modbusVoltage is the voltage by the registers of a unit, in V, where the description of
// the built-in mapping has it (of sunspec-battery: model 802, see voltsOf802).
var modbusVoltage = map[string]func(registers map[int]uint16) float64{
	"marrowfen-mf16":  func(r map[int]uint16) float64 { return float64(r[0]) / 100 },
	"homebrew-modbus": func(r map[int]uint16) float64 { return float64(r[1]) / 100 },
	"sunspec-battery": func(r map[int]uint16) float64 {
		words := make([]uint16, 64)
		for i := range words {
			words[i] = r[at802+i]
		}
		return voltsOf802(words)
	},
}

// TestDissectorReadsSimulatedModbus lets tshark take the Modbus frames of a serial line
// apart, for every built-in mapping of registers: each frame is one, by its checksum, each
// question is answered by the same unit with the registers that it asks for, and their
// values are what packlink decodes.
func TestDissectorReadsSimulatedModbus(t *testing.T) {
	needPeer(t, "tshark")
	for _, name := range library.Names() {
		c, err := library.Compile(name)
		if err != nil {
			t.Fatal(err)
		}
		if c.Bus.Registers == nil {
			continue
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			path, frames := simulatedCapture(t, c)
			seen := dissect(t, path)
			decoded, err := decodedVoltages(t, path, name)
			if err != nil || len(decoded) != 2 || len(seen) != frames {
				t.Fatalf("of %d frames tshark reads %d, and packlink decodes %v, %v", frames, len(seen), decoded, err)
			}
			for unit, of := range dissectedRegisters(t, c, seen) {
				want := decoded[unit]
				if c.Bus.Registers.ModelsAt >= 0 {
					want = (decoded[1] + decoded[2]) / 2 // of packs in parallel
				}
				if got := modbusVoltage[name](of); !(math.Abs(got-want) < 0.0051) {
					t.Errorf("unit %d has %v V by its registers, and packlink decodes %v V", unit, got, want)
				}
			}
		})
	}
}

// dissected is what tshark says of a frame of Modbus RTU.
type dissected struct{ unit, checksum, function, asked, from, count, numbers, values, refused, malformed, number string }

// dissect lets tshark take a capture of a serial line apart as Modbus RTU.
func dissect(t *testing.T, path string) (frames []dissected) {
	t.Helper()
	args := []string{"-r", path, "-d", "rtacser.data,mbrtu", "-o", "mbrtu.crc_verification:TRUE", "-T", "fields"}
	for _, field := range []string{
		"mbrtu.unit_id", "mbrtu.crc16.status", "modbus.func_code", "modbus.request_frame", "modbus.reference_num", "modbus.word_cnt",
		"modbus.regnum16", "modbus.regval_uint16", "modbus.exception_code", "_ws.malformed", "frame.number",
	} {
		args = append(args, "-e", field)
	}
	for line := range strings.SplitSeq(tshark(t, args...), "\n") {
		f := strings.Split(line, "\t")
		frames = append(frames, dissected{f[0], f[1], f[2], f[3], f[4], f[5], f[6], f[7], f[8], f[9], f[10]})
	}
	return frames
}

// dissectedRegisters are the newest registers of each unit as tshark reads them. A block of
// which nothing is known is refused with exception 0B, always.
func dissectedRegisters(t *testing.T, c *mapping.Compiled, frames []dissected) map[int]map[int]uint16 {
	t.Helper()
	registers := make(map[int]map[int]uint16)
	for i := range frames {
		f := &frames[i]
		if f.checksum != "1" || f.function != strconv.Itoa(c.Bus.Registers.Function()) || f.malformed != "" {
			t.Fatalf("this is no sound Modbus frame of the function: %+v", f)
		}
		if i%2 == 0 {
			if f.asked != "" || f.from == "" || f.count == "" {
				t.Fatalf("this is no question: %+v", f)
			}
			continue
		}
		question := &frames[i-1]
		unit, _ := strconv.Atoi(f.unit)
		if registers[unit] == nil {
			registers[unit] = make(map[int]uint16)
		}
		from, _ := strconv.Atoi(question.from)
		_, known := registers[unit][from]
		switch {
		case f.unit != question.unit || f.refused == "" && f.asked != question.number || f.refused != "" && (f.refused != "11" || known):
			t.Fatalf("%+v does not answer %+v", f, question)
		case f.refused == "":
			takeRegisters(t, registers[unit], question, f)
		}
	}
	return registers
}

// takeRegisters takes the registers of an answer, which are those of the question.
func takeRegisters(t *testing.T, registers map[int]uint16, question, answer *dissected) {
	t.Helper()
	from, _ := strconv.Atoi(question.from)
	count, _ := strconv.Atoi(question.count)
	numbers, values := strings.Split(answer.numbers, ","), strings.Split(answer.values, ",")
	if len(numbers) != count || len(values) != count {
		t.Fatalf("%d registers are asked for: %+v", count, answer)
	}
	for i := range count {
		value, err := strconv.ParseUint(values[i], 10, 16)
		if numbers[i] != strconv.Itoa(from+i) || err != nil {
			t.Fatalf("the registers are not those from %d on: %+v", from, answer)
		}
		registers[from+i] = uint16(value)
	}
}

// decodedVoltages are the newest voltages that packlink decodes, by address.
func decodedVoltages(t *testing.T, path, mapping string) (map[int]float64, error) {
	t.Helper()
	out, _ := runFor(t, time.Minute, "decode", path, "--mapping", mapping)
	newest := make(map[int]float64)
	for lines := json.NewDecoder(strings.NewReader(out)); ; {
		var s struct {
			Address int      `json:"address"`
			Voltage *float64 `json:"voltage_v"`
		}
		err := lines.Decode(&s)
		if err == io.EOF {
			return newest, nil
		}
		if err != nil {
			return nil, err
		}
		if s.Voltage != nil {
			newest[s.Address] = *s.Voltage
		}
	}
}
