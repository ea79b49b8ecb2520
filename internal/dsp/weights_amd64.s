#include "textflag.h"

// func slideWide(dst, src, by *float32, n int)
TEXT ·slideWide(SB), NOSPLIT, $0-32
	MOVQ         dst+0(FP), DI
	MOVQ         src+8(FP), SI
	MOVQ         by+16(FP), BX
	MOVQ         n+24(FP), CX
	VBROADCASTSS (BX), Y0
	VBROADCASTSS 4(BX), Y1
	VBROADCASTSS 8(BX), Y2
	VBROADCASTSS 12(BX), Y3
	VBROADCASTSS 16(BX), Y4
	VBROADCASTSS 20(BX), Y5
	VBROADCASTSS 24(BX), Y6
	VBROADCASTSS 28(BX), Y7
	VBROADCASTSS 32(BX), Y8
	VBROADCASTSS 36(BX), Y9
	VBROADCASTSS 40(BX), Y10
	VBROADCASTSS 44(BX), Y11

eights:
	VMULPS      (SI), Y0, Y12
	VMULPS      4(SI), Y1, Y13
	VFMADD231PS 8(SI), Y2, Y12
	VFMADD231PS 12(SI), Y3, Y13
	VFMADD231PS 16(SI), Y4, Y12
	VFMADD231PS 20(SI), Y5, Y13
	VFMADD231PS 24(SI), Y6, Y12
	VFMADD231PS 28(SI), Y7, Y13
	VFMADD231PS 32(SI), Y8, Y12
	VFMADD231PS 36(SI), Y9, Y13
	VFMADD231PS 40(SI), Y10, Y12
	VFMADD231PS 44(SI), Y11, Y13
	VADDPS      Y13, Y12, Y12
	VMOVUPS     Y12, (DI)
	ADDQ        $32, SI
	ADDQ        $32, DI
	SUBQ        $8, CX
	JNZ         eights
	VZEROUPPER
	RET

// func addScaledWide(dst, src *float32, n int, by float32)
TEXT ·addScaledWide(SB), NOSPLIT, $0-28
	MOVQ         dst+0(FP), DI
	MOVQ         src+8(FP), SI
	MOVQ         n+16(FP), CX
	VBROADCASTSS by+24(FP), Y0

add8:
	VMOVUPS     (DI), Y1
	VFMADD231PS (SI), Y0, Y1
	VMOVUPS     Y1, (DI)
	ADDQ        $32, SI
	ADDQ        $32, DI
	SUBQ        $8, CX
	JNZ         add8
	VZEROUPPER
	RET

// The sum of the four values of y, of which x is the lower half, into x.
#define SUM(y, x, z) \
	VEXTRACTF128 $1, y, z      \
	VADDPD       z, x, x       \
	VUNPCKHPD    x, x, z       \
	VADDSD       z, x, x

// func blend1Wide(x, a, b *float64, n int, f float64) float64
TEXT ·blend1Wide(SB), NOSPLIT, $0-48
	MOVQ         x+0(FP), SI
	MOVQ         a+8(FP), R8
	MOVQ         b+16(FP), R9
	MOVQ         n+24(FP), CX
	VBROADCASTSD f+32(FP), Y0
	VXORPD       Y4, Y4, Y4

fours1:
	VMOVUPD     (R8), Y1
	VMOVUPD     (R9), Y2
	VSUBPD      Y1, Y2, Y2
	VFMADD231PD Y0, Y2, Y1
	VFMADD231PD (SI), Y1, Y4
	ADDQ        $32, R8
	ADDQ        $32, R9
	ADDQ        $32, SI
	SUBQ        $4, CX
	JNZ         fours1
	SUM(Y4, X4, X1)
	MOVSD       X4, ret+40(FP)
	VZEROUPPER
	RET

// func blend2Wide(x, y, a, b *float64, n int, f float64) (float64, float64)
TEXT ·blend2Wide(SB), NOSPLIT, $0-64
	MOVQ         x+0(FP), SI
	MOVQ         y+8(FP), DI
	MOVQ         a+16(FP), R8
	MOVQ         b+24(FP), R9
	MOVQ         n+32(FP), CX
	VBROADCASTSD f+40(FP), Y0
	VXORPD       Y4, Y4, Y4
	VXORPD       Y5, Y5, Y5

fours2:
	VMOVUPD     (R8), Y1
	VMOVUPD     (R9), Y2
	VSUBPD      Y1, Y2, Y2
	VFMADD231PD Y0, Y2, Y1
	VFMADD231PD (SI), Y1, Y4
	VFMADD231PD (DI), Y1, Y5
	ADDQ        $32, R8
	ADDQ        $32, R9
	ADDQ        $32, SI
	ADDQ        $32, DI
	SUBQ        $4, CX
	JNZ         fours2
	SUM(Y4, X4, X1)
	SUM(Y5, X5, X1)
	MOVSD       X4, ret+48(FP)
	MOVSD       X5, ret1+56(FP)
	VZEROUPPER
	RET
