#include "textflag.h"

// All but the sign of a float32.
DATA magnitude<>+0(SB)/4, $0x7fffffff
GLOBL magnitude<>(SB), RODATA|NOPTR, $4

// func taperedWide(dst *float64, src *float32, taper *float64, n int)
TEXT ·taperedWide(SB), NOSPLIT, $0-32
	MOVQ dst+0(FP), DI
	MOVQ src+8(FP), SI
	MOVQ taper+16(FP), BX
	MOVQ n+24(FP), CX

taper4:
	VCVTPS2PD (SI), Y0
	VMULPD    (BX), Y0, Y0
	VMOVUPD   Y0, (DI)
	ADDQ      $16, SI
	ADDQ      $32, BX
	ADDQ      $32, DI
	SUBQ      $4, CX
	JNZ       taper4
	VZEROUPPER
	RET

// func widenedWide(dst *float64, src *float32, n int)
TEXT ·widenedWide(SB), NOSPLIT, $0-24
	MOVQ dst+0(FP), DI
	MOVQ src+8(FP), SI
	MOVQ n+16(FP), CX

widen4:
	VCVTPS2PD (SI), Y0
	VMOVUPD   Y0, (DI)
	ADDQ      $16, SI
	ADDQ      $32, DI
	SUBQ      $4, CX
	JNZ       widen4
	VZEROUPPER
	RET

// func narrowedWide(dst *complex64, src *complex128, n int)
TEXT ·narrowedWide(SB), NOSPLIT, $0-24
	MOVQ dst+0(FP), DI
	MOVQ src+8(FP), SI
	MOVQ n+16(FP), CX

narrow2:
	VCVTPD2PSY (SI), X0
	VMOVUPS    X0, (DI)
	ADDQ       $32, SI
	ADDQ       $16, DI
	SUBQ       $2, CX
	JNZ        narrow2
	VZEROUPPER
	RET

// func scaledWide(dst *float32, src *byte, n int, scale float32)
TEXT ·scaledWide(SB), NOSPLIT, $0-28
	MOVQ         dst+0(FP), DI
	MOVQ         src+8(FP), SI
	MOVQ         n+16(FP), CX
	VBROADCASTSS scale+24(FP), Y1

scale8:
	VPMOVSXWD (SI), Y0
	VCVTDQ2PS Y0, Y0
	VMULPS    Y1, Y0, Y0
	VMOVUPS   Y0, (DI)
	ADDQ      $16, SI
	ADDQ      $32, DI
	SUBQ      $8, CX
	JNZ       scale8
	VZEROUPPER
	RET

// func greatestWide(v *float32, n int) float32
TEXT ·greatestWide(SB), NOSPLIT, $0-20
	MOVQ         v+0(FP), SI
	MOVQ         n+8(FP), CX
	VBROADCASTSS magnitude<>(SB), Y1
	VXORPS       Y0, Y0, Y0

great8:
	VANDPS       (SI), Y1, Y2
	VMAXPS       Y2, Y0, Y0
	ADDQ         $32, SI
	SUBQ         $8, CX
	JNZ          great8
	VEXTRACTF128 $1, Y0, X2
	VMAXPS       X2, X0, X0
	VPERMILPS    $0x4E, X0, X2
	VMAXPS       X2, X0, X0
	VPERMILPS    $0xB1, X0, X2
	VMAXPS       X2, X0, X0
	MOVSS        X0, ret+16(FP)
	VZEROUPPER
	RET
