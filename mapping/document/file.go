package document

import (
	"io"
	"os"
)

// ReadFile reads a file that [Parse] may take: of a longer one it reads just as
// much as shows that it is too long.
func ReadFile(path string) ([]byte, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	return io.ReadAll(io.LimitReader(file, MaxBytes+1))
}
