package ffmpeg

import (
	"os/exec"
	"syscall"
)

// dieWithUs lets the system kill the command when this process ends, however
// it ends, so that none goes on writing what nobody will take. The system
// counts the end of the thread that started the command as ours; Go ends no
// thread but those of goroutines that locked one, which nothing here does.
func dieWithUs(cmd *exec.Cmd) { cmd.SysProcAttr.Pdeathsig = syscall.SIGKILL }
