package webtest

import (
	"bufio"
	"crypto/rand"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"sync"
)

// Kinds of frames, RFC 6455, section 5.2.
const (
	frameMore  = 0x0
	frameText  = 0x1
	frameClose = 0x8
	framePing  = 0x9
	framePong  = 0xA
)

const longest = 256 << 20 // bytes of a message; more is not read

// A socket is the client's end of a WebSocket (RFC 6455) that carries texts.
type socket struct {
	conn net.Conn
	in   *bufio.Reader
	mu   sync.Mutex // one frame is written at a time
}

// dial opens a socket at a host and port of this machine.
func dial(host, path string) (*socket, error) {
	conn, err := net.Dial("tcp", host)
	if err != nil {
		return nil, err
	}
	key := make([]byte, 16)
	rand.Read(key)
	_, err = fmt.Fprintf(conn, "GET %s HTTP/1.1\r\nHost: %s\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Key: %s\r\nSec-WebSocket-Version: 13\r\n\r\n",
		path, host, base64.StdEncoding.EncodeToString(key))
	s := &socket{conn: conn, in: bufio.NewReader(conn)}
	if err == nil {
		var res *http.Response
		if res, err = http.ReadResponse(s.in, nil); err == nil && res.StatusCode != http.StatusSwitchingProtocols {
			err = fmt.Errorf("answered %s", res.Status)
		}
	}
	if err != nil {
		conn.Close()
		return nil, err
	}
	return s, nil
}

// write sends one frame. A client masks what it sends (section 5.3).
func (s *socket) write(kind byte, payload []byte) error {
	head := []byte{0x80 | kind}
	switch n := len(payload); {
	case n < 126:
		head = append(head, 0x80|byte(n))
	case n < 1<<16:
		head = binary.BigEndian.AppendUint16(append(head, 0x80|126), uint16(n))
	default:
		head = binary.BigEndian.AppendUint64(append(head, 0x80|127), uint64(n))
	}
	mask := make([]byte, 4)
	rand.Read(mask)
	frame := append(head, mask...)
	for i, b := range payload {
		frame = append(frame, b^mask[i%4])
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	_, err := s.conn.Write(frame)
	return err
}

// read is the next text, put together from its frames.
func (s *socket) read() ([]byte, error) {
	var text []byte
	for {
		head := make([]byte, 2)
		if _, err := io.ReadFull(s.in, head); err != nil {
			return nil, err
		}
		n := uint64(head[1] & 0x7f)
		if wide := map[uint64]int{126: 2, 127: 8}[n]; wide > 0 {
			b := make([]byte, 8)
			if _, err := io.ReadFull(s.in, b[8-wide:]); err != nil {
				return nil, err
			}
			n = binary.BigEndian.Uint64(b)
		}
		if n > longest-uint64(len(text)) {
			return nil, errors.New("a message of more than 256 MB")
		}
		payload := make([]byte, n)
		if _, err := io.ReadFull(s.in, payload); err != nil {
			return nil, err
		}
		switch kind := head[0] & 0xf; kind {
		case frameText, frameMore:
			if text = append(text, payload...); head[0]&0x80 != 0 {
				return text, nil
			}
		case framePing:
			if err := s.write(framePong, payload); err != nil {
				return nil, err
			}
		case frameClose:
			return nil, io.EOF
		}
	}
}
