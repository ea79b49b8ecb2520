package module

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"testing"
)

// The published file must be the one in the program.
func TestModuleIsTheOneNamed(t *testing.T) {
	if sum := sha256.Sum256(zipped); hex.EncodeToString(sum[:]) != SHA256 {
		t.Errorf("the module's SHA-256 is %x, want %s", sum, SHA256)
	}
	b, err := Bytes()
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.HasPrefix(b, []byte("\x00asm\x01\x00\x00\x00")) { // WebAssembly Core Specification 5.5.16
		t.Errorf("the module does not begin as WebAssembly does: % x", b[:8])
	}
}
