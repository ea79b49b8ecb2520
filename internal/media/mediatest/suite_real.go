package mediatest

import "testing"

func (s *suite) cameraFiles(t *testing.T) {}
func (s *suite) damaged(t *testing.T)     {}
func (s *suite) brokenWAV(t *testing.T)   {}
func (s *suite) heldBack(t *testing.T)    {}
