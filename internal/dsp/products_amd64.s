#include "textflag.h"

// The signs that make the third and fourth of four values negative, twice.
DATA latter<>+0(SB)/8, $0
DATA latter<>+8(SB)/8, $0x8000000080000000
DATA latter<>+16(SB)/8, $0
DATA latter<>+24(SB)/8, $0x8000000080000000
GLOBL latter<>(SB), RODATA|NOPTR, $32

// Y4 and Y5 take up the products of four values x with y as they stand, real by
// real and imaginary by imaginary, and of x with y turned about, crosswise.
#define TAKEUP(x, y) \
	VMOVUPS     (x)(AX*1), Y0     \
	VMOVUPS     (y)(AX*1), Y1     \
	VPERMILPS   $0xB1, Y1, Y2     \
	VFMADD231PS Y0, Y1, Y4        \
	VFMADD231PS Y0, Y2, Y5

// func addProductsWide(acc *complex128, x0, y0, x1, y1, x2, y2 *complex64, n int, keep uint64)
TEXT ·addProductsWide(SB), NOSPLIT, $0-72
	MOVQ         acc+0(FP), DI
	MOVQ         x0+8(FP), R8
	MOVQ         y0+16(FP), R9
	MOVQ         x1+24(FP), R10
	MOVQ         y1+32(FP), R11
	MOVQ         x2+40(FP), R12
	MOVQ         y2+48(FP), R13
	MOVQ         n+56(FP), CX
	VBROADCASTSD keep+64(FP), Y13
	VMOVUPS      latter<>(SB), Y14
	XORQ         AX, AX

fours:
	VXORPS       Y4, Y4, Y4
	VXORPS       Y5, Y5, Y5
	TAKEUP(R8, R9)
	TAKEUP(R10, R11)
	TAKEUP(R12, R13)
	VSHUFPS      $0x88, Y5, Y4, Y6
	VSHUFPS      $0xDD, Y5, Y4, Y7
	VXORPS       Y14, Y7, Y7
	VADDPS       Y7, Y6, Y6        // real, real, imaginary, imaginary
	VPERMILPS    $0xD8, Y6, Y6
	VEXTRACTF128 $1, Y6, X7
	VCVTPS2PD    X6, Y8
	VCVTPS2PD    X7, Y9
	VANDPD       (DI), Y13, Y10
	VANDPD       32(DI), Y13, Y11
	VADDPD       Y8, Y10, Y10
	VADDPD       Y9, Y11, Y11
	VMOVUPD      Y10, (DI)
	VMOVUPD      Y11, 32(DI)
	ADDQ         $32, AX
	ADDQ         $64, DI
	SUBQ         $4, CX
	JNZ          fours
	VZEROUPPER
	RET
