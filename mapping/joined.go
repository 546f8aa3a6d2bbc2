package mapping

// Joined are the registers of a message, counted from its first, that hold a field's
// continuation: an answer without the register before them does not give the field.
func (m *Message) Joined() (registers []int) {
	for i := range m.Fields {
		f := &m.Fields[i]
		for element := range f.Repetitions() {
			first := f.StartByte(element) / 2
			for at := 1; at < f.ContainerBytes()/2; at++ {
				registers = append(registers, first+at)
			}
		}
	}
	return registers
}
