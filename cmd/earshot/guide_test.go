package main

import (
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"earshot/internal/web/webtest"
)

// The guide lists the keys that the page's own sheet lists, which are those that
// work. UPDATE=1 writes them.
func TestGuideNamesEveryKey(t *testing.T) {
	b := webtest.Browser(t)
	dir := t.TempDir()
	lone := filepath.Join(dir, "lone.wav")
	if err := os.WriteFile(lone, secondOfSilence(), 0o644); err != nil {
		t.Fatal(err)
	}
	p := openPage(t, b, 1000, 800, startDesk(t, dir, lone).url)
	for _, place := range []struct{ hash, shows string }{{"day", ".day"}, {"", ".wall"}, {"take/none", ".take"}} {
		p.JS(`void (location.hash = '#/`+place.hash+`')`, nil)
		p.Until(place.hash+" is shown", `document.querySelector('main`+place.shows+` > *')`)
	}
	p.Keys("?")
	var sheet []struct {
		Place string
		Rows  [][2]string
	}
	p.JS(`[...document.querySelectorAll('.keys section')].map((s) => ({
		Place: s.querySelector('h3').innerText,
		Rows: [...s.querySelectorAll('tr')].map((r) => [[...r.cells[0].childNodes].map((n) => n.nodeName === 'KBD' ? '<kbd>' + n.innerText + '</kbd>' : n.data).join(' ').replace(/ +/g, ' ').replace('Cmd', 'Ctrl').trim(), r.cells[1].innerText]),
	}))`, &sheet)
	if len(sheet) < 4 {
		t.Fatalf("the sheet has only %d places", len(sheet))
	}
	var want strings.Builder
	for _, s := range sheet {
		fmt.Fprintf(&want, "\n### %s\n\n| key | what it does |\n|---|---|\n", s.Place)
		for _, r := range s.Rows {
			fmt.Fprintf(&want, "| %s | %s |\n", r[0], r[1])
		}
	}
	want.WriteString("\n")
	path := filepath.Join("..", "..", "docs", "desk-guide.md")
	guide, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	head, rest, ok := strings.Cut(string(guide), "writes them -->\n")
	got, foot, end := strings.Cut(rest, "<!-- end of keys")
	if !ok || !end {
		t.Fatal("the guide has no place for the keys")
	}
	if got == want.String() {
		return
	}
	if os.Getenv("UPDATE") == "" {
		t.Fatalf("the guide lists other keys than the page; UPDATE=1 writes\n%s", want.String())
	}
	if err := os.WriteFile(path, []byte(head+"writes them -->\n"+want.String()+"<!-- end of keys"+foot), 0o644); err != nil {
		t.Fatal(err)
	}
}

// secondOfSilence is a WAV file: 16-bit PCM, mono, 16 kHz.
func secondOfSilence() []byte {
	const rate, bytes = 16000, 2 * 16000
	b := []byte("RIFF")
	b = binary.LittleEndian.AppendUint32(b, 36+bytes)
	b = append(b, "WAVEfmt "...)
	for _, v := range []uint32{16, 1 | 1<<16, rate, 2 * rate, 2 | 16<<16} { // size; PCM, mono; rates; frame, bits
		b = binary.LittleEndian.AppendUint32(b, v)
	}
	b = append(b, "data"...)
	b = binary.LittleEndian.AppendUint32(b, bytes)
	return append(b, make([]byte, bytes)...)
}
