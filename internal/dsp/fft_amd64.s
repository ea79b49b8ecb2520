#include "textflag.h"

// The signs that make two complex values' imaginary parts negative.
DATA conj<>+0(SB)/8, $0
DATA conj<>+8(SB)/8, $0x8000000000000000
DATA conj<>+16(SB)/8, $0
DATA conj<>+24(SB)/8, $0x8000000000000000
GLOBL conj<>(SB), RODATA|NOPTR, $32

DATA half<>+0(SB)/8, $0.5
GLOBL half<>(SB), RODATA|NOPTR, $8

// A quarter step on two columns at once: reads a, b, c, d from x0 to x3 (SI, DX
// and R9 bytes apart) and leaves
//
//	Y6 = a+b+c+d   Y8 = a-c-j(b-d)   Y7 = a+c-b-d   Y9 = a-c+j(b-d)
#define QUARTERS \
	VMOVUPD    (SI), Y6          \
	VMOVUPD    (SI)(DX*1), Y7    \
	VMOVUPD    (SI)(DX*2), Y8    \
	VMOVUPD    (SI)(R9*1), Y9    \
	VADDPD     Y8, Y6, Y10       \
	VADDPD     Y9, Y7, Y11       \
	VSUBPD     Y8, Y6, Y12       \
	VSUBPD     Y9, Y7, Y13       \
	VPERMILPD  $5, Y13, Y13      \
	VXORPD     Y14, Y13, Y13     \
	VADDPD     Y11, Y10, Y6      \
	VSUBPD     Y11, Y10, Y7      \
	VADDPD     Y13, Y12, Y8      \
	VSUBPD     Y13, Y12, Y9

// out = v·w for two complex values, w's real and imaginary parts given apart.
#define TIMES(v, re, im, out) \
	VPERMILPD      $5, v, out    \
	VMULPD         im, out, out  \
	VFMADDSUB231PD re, v, out

// func stepWide(x, y, root *complex128, q, s int)
TEXT ·stepWide(SB), NOSPLIT, $0-40
	MOVQ    x+0(FP), SI
	MOVQ    y+8(FP), DI
	MOVQ    root+16(FP), R8
	MOVQ    q+24(FP), CX
	MOVQ    s+32(FP), BX
	SHLQ    $4, BX               // bytes of one run
	MOVQ    BX, DX
	IMULQ   CX, DX               // from x0 to x1
	LEAQ    (DX)(DX*2), R9       // from x0 to x3
	LEAQ    (BX)(BX*2), R10      // from y0 to y3
	MOVQ    R8, R12
	MOVQ    R8, R13
	VMOVUPD conj<>(SB), Y14

columns:
	VBROADCASTSD (R8), Y0
	VBROADCASTSD 8(R8), Y1
	VBROADCASTSD (R12), Y2
	VBROADCASTSD 8(R12), Y3
	VBROADCASTSD (R13), Y4
	VBROADCASTSD 8(R13), Y5
	MOVQ         BX, AX

run:
	QUARTERS
	TIMES(Y8, Y0, Y1, Y10)
	TIMES(Y7, Y2, Y3, Y11)
	TIMES(Y9, Y4, Y5, Y12)
	VMOVUPD Y6, (DI)
	VMOVUPD Y10, (DI)(BX*1)
	VMOVUPD Y11, (DI)(BX*2)
	VMOVUPD Y12, (DI)(R10*1)
	ADDQ    $32, SI
	ADDQ    $32, DI
	SUBQ    $32, AX
	JNZ     run

	ADDQ R10, DI
	ADDQ BX, R8
	LEAQ (R12)(BX*2), R12
	ADDQ R10, R13
	DECQ CX
	JNZ  columns
	VZEROUPPER
	RET

// func firstWide(x, y, root *complex128, q int)
TEXT ·firstWide(SB), NOSPLIT, $0-32
	MOVQ    x+0(FP), SI
	MOVQ    y+8(FP), DI
	MOVQ    root+16(FP), R8
	MOVQ    q+24(FP), CX
	MOVQ    CX, DX
	SHLQ    $4, DX               // from x0 to x1
	LEAQ    (DX)(DX*2), R9       // from x0 to x3
	MOVQ    R8, R12
	MOVQ    R8, R13
	VMOVUPD conj<>(SB), Y14

pair:
	QUARTERS
	VMOVUPD     (R8), Y0
	VMOVUPD     (R12), X2
	VINSERTF128 $1, 32(R12), Y2, Y2
	VMOVUPD     (R13), X4
	VINSERTF128 $1, 48(R13), Y4, Y4
	VPERMILPD   $15, Y0, Y1
	VMOVDDUP    Y0, Y0
	VPERMILPD   $15, Y2, Y3
	VMOVDDUP    Y2, Y2
	VPERMILPD   $15, Y4, Y5
	VMOVDDUP    Y4, Y4
	TIMES(Y8, Y0, Y1, Y10)
	TIMES(Y7, Y2, Y3, Y11)
	TIMES(Y9, Y4, Y5, Y12)
	VPERM2F128  $0x20, Y10, Y6, Y0
	VPERM2F128  $0x20, Y12, Y11, Y1
	VPERM2F128  $0x31, Y10, Y6, Y2
	VPERM2F128  $0x31, Y12, Y11, Y3
	VMOVUPD     Y0, (DI)
	VMOVUPD     Y1, 32(DI)
	VMOVUPD     Y2, 64(DI)
	VMOVUPD     Y3, 96(DI)
	ADDQ        $32, SI
	ADDQ        $128, DI
	ADDQ        $32, R8
	ADDQ        $64, R12
	ADDQ        $96, R13
	SUBQ        $2, CX
	JNZ         pair
	VZEROUPPER
	RET

// func lastWide(a, b *complex128, s int)
TEXT ·lastWide(SB), NOSPLIT, $0-24
	MOVQ a+0(FP), SI
	MOVQ b+8(FP), DI
	MOVQ s+16(FP), DX
	SHLQ $4, DX
	MOVQ DX, CX

halves:
	VMOVUPD (SI), Y0
	VMOVUPD (SI)(DX*1), Y1
	VADDPD  Y1, Y0, Y2
	VSUBPD  Y1, Y0, Y3
	VMOVUPD Y2, (DI)
	VMOVUPD Y3, (DI)(DX*1)
	ADDQ    $32, SI
	ADDQ    $32, DI
	SUBQ    $32, CX
	JNZ     halves
	VZEROUPPER
	RET

// func untangleWide(dst, z, turn *complex128, m int, scale float64, mirror uint64)
TEXT ·untangleWide(SB), NOSPLIT, $0-48
	MOVQ         dst+0(FP), DI
	MOVQ         z+8(FP), SI
	MOVQ         turn+16(FP), R8
	MOVQ         m+24(FP), CX
	MOVQ         CX, DX
	SHLQ         $4, DX
	LEAQ         -32(SI)(DX*1), R9   // z[m-2]
	LEAQ         -32(DI)(DX*1), R10  // dst[m-2]
	ADDQ         $16, SI
	ADDQ         $16, DI
	ADDQ         $16, R8
	VMOVUPD      conj<>(SB), Y14
	VBROADCASTSD scale+32(FP), Y1
	VBROADCASTSD half<>(SB), Y0
	VMULPD       Y1, Y0, Y0
	VBROADCASTSD mirror+40(FP), Y2
	VANDPD       Y14, Y2, Y2         // signs of z[k]
	VXORPD       Y14, Y2, Y3         // and of z[m-k]

pairs:
	VMOVUPD    (SI), Y4
	VMOVUPD    (R9), Y5
	VPERM2F128 $1, Y5, Y5, Y5
	VXORPD     Y2, Y4, Y4
	VXORPD     Y3, Y5, Y5
	VADDPD     Y5, Y4, Y6
	VSUBPD     Y5, Y4, Y7
	VMULPD     Y0, Y6, Y6
	VMULPD     Y1, Y7, Y7
	VMOVUPD    (R8), Y8
	VPERMILPD  $15, Y8, Y9
	VMOVDDUP   Y8, Y8
	TIMES(Y7, Y8, Y9, Y10)
	VADDPD     Y10, Y6, Y11
	VSUBPD     Y10, Y6, Y12
	VXORPD     Y14, Y12, Y12
	VPERM2F128 $1, Y12, Y12, Y12
	VMOVUPD    Y11, (DI)
	VMOVUPD    Y12, (R10)
	ADDQ       $32, SI
	ADDQ       $32, DI
	ADDQ       $32, R8
	SUBQ       $32, R9
	SUBQ       $32, R10
	SUBQ       $4, CX
	JNZ        pairs
	VZEROUPPER
	RET

// func conjWide(dst, z *complex128, m int)
TEXT ·conjWide(SB), NOSPLIT, $0-24
	MOVQ    dst+0(FP), DI
	MOVQ    z+8(FP), SI
	MOVQ    m+16(FP), CX
	VMOVUPD conj<>(SB), Y14

values:
	VXORPD  (SI), Y14, Y0
	VXORPD  32(SI), Y14, Y1
	VMOVUPD Y0, (DI)
	VMOVUPD Y1, 32(DI)
	ADDQ    $64, SI
	ADDQ    $64, DI
	SUBQ    $4, CX
	JNZ     values
	VZEROUPPER
	RET
