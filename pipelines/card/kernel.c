/* The kernel of grading/kernel.py, a pixel at a time: for a graphics card as CUDA, and for tests as plain C.

   Every number is what the processor's kernel makes of the same tables: the same additions, multiplications, divisions,
   square roots, comparisons and look-ups in the same order, each rounded as IEEE 754 has it. It must be compiled
   without contraction: --fmad=false for CUDA, -ffp-contract=off for C. GIVEN and TAKEN are the samples of the original and
   of the output. Above this text stand `struct setting` and the functions that are written from pixel_math.py and
   direct_evaluation.py (kernel_text.py). */

#define NEGATIVE_FAR (-3e38f) /* holds nothing */
#define FAR (3e38f)

DEVICE float least_of(float a, float b) { return a < b ? a : b; }
DEVICE float most_of(float a, float b) { return a > b ? a : b; }
DEVICE float held(float x, float low, float high) { return least_of(most_of(x, low), high); }

/* A sample as a float; not-a-number as far below 0, infinities as far as the kernel counts. */
DEVICE float number(GIVEN code, float offset, float scale)
{
    float value = ((float)code - offset) * scale;
    value = value == value ? value : -65536.0f;
    return held(value, -65536.0f, 65536.0f);
}

/* Where chroma rows lie about a row of luma: the two samples' rows, and the share of the second. */
struct between {
    int near, far;
    float far_weight;
};

DEVICE struct between rows_of_chroma(const struct setting *s, int y)
{
    struct between found = {y, y, 0.0f};
    if (s->given_sub_y == 2) {
        const int last = ((s->height + 1) >> 1) - 1;
        found.near = y >> 1;
        if (s->given_siting == 1) {
            found.far = found.near + (y & 1) < last ? found.near + (y & 1) : last;
            found.far_weight = y & 1 ? 0.5f : 0.0f;
        } else {
            if (y & 1)
                found.far = found.near + 1 < last ? found.near + 1 : last;
            else
                found.far = found.near - 1 > 0 ? found.near - 1 : 0;
            found.far_weight = 0.25f;
        }
    }
    return found;
}

DEVICE float chroma_sample(const struct setting *s, const GIVEN *plane, struct between rows, int k)
{
    const float offset = s->given_levels[3], scale = s->given_levels[2];
    const float near = (float)plane[(long long)rows.near * s->given_chroma_row + k];
    if (rows.far_weight == 0.0f)
        return (near - offset) * scale;
    const float far = (float)plane[(long long)rows.far * s->given_chroma_row + k];
    const float near_weight = 1.0f - rows.far_weight;
    return (near_weight * near + rows.far_weight * far - offset) * scale;
}

/* Chroma at a pixel, linear between samples. */
DEVICE float chroma_at(const struct setting *s, const GIVEN *plane, struct between rows, int x)
{
    if (s->given_sub_x == 1)
        return chroma_sample(s, plane, rows, x);
    const int last = ((s->width + 1) >> 1) - 1, k = x >> 1;
    const float here = chroma_sample(s, plane, rows, k);
    if (x & 1) {
        const float next = chroma_sample(s, plane, rows, k < last ? k + 1 : last);
        return s->given_siting == 2 ? 0.75f * here + 0.25f * next : 0.5f * (here + next);
    }
    if (s->given_siting != 2 || k == 0)
        return here;
    return 0.75f * here + 0.25f * chroma_sample(s, plane, rows, k - 1);
}

/* The encoded signal R'G'B' of a pixel. */
DEVICE void signal_at(const struct setting *s, const GIVEN *first, const GIVEN *second, const GIVEN *third, int x, int y,
                      float *red, float *green, float *blue)
{
    const float scale = s->given_levels[0], offset = s->given_levels[1];
    const size_t at = (long long)y * s->given_row + x;
    if (!s->ycbcr) {
        *red = number(first[at], offset, scale);
        *green = number(second[at], offset, scale);
        *blue = number(third[at], offset, scale);
        return;
    }
    const struct between rows = rows_of_chroma(s, y);
    const float cb = chroma_at(s, second, rows, x), cr = chroma_at(s, third, rows, x);
    const float luma = ((float)first[at] - offset) * scale;
    *red = luma + s->matrix[0] * cr;
    *green = luma + s->matrix[1] * cb + s->matrix[2] * cr;
    *blue = luma + s->matrix[3] * cb;
}

/* A sample from a table of points, each with the step to the next. */
DEVICE float looked_up(const float *pairs, int place, float part)
{
    return pairs[2 * place] + part * pairs[2 * place + 1];
}

/* The signal through its curves and saturation. */
DEVICE void grade_of(const struct setting *s, const float *curves, float *signal)
{
    float curved[3];
    for (int k = 0; k < 3; k++) {
        int place;
        float part;
        points(signal[k], s->grade_at[0], s->grade_at[1], 0.0f, s->grade_at[2], s->grade_at[3], &place, &part);
        curved[k] = looked_up(curves + 2 * s->grade_points * k, place, part);
    }
    saturated(curved[0], curved[1], curved[2], s->saturation, &signal[0], &signal[1], &signal[2]);
    if (s->saturation == 1.0f)
        for (int k = 0; k < 3; k++)
            signal[k] = curved[k];
}

/* Lattice coordinates of the signal, in its place. */
DEVICE void coordinates_of(const struct setting *s, const float *curves, const float *shaper, float *signal)
{
    const float *at = s->shaper_at, low = at[0], scale = at[1], top = (float)(s->size - 1);
    float least = 0.0f, most = at[2];
    if (s->graded)
        grade_of(s, curves, signal);
    if (s->graded && s->clamp && !s->straight) {
        least = most_of((0.0f - low) * scale, 0.0f);
        most = least_of((1.0f - low) * scale, most);
    }
    for (int k = 0; k < 3; k++) {
        float found;
        if (s->straight) {
            float x = signal[k];
            if (s->graded)
                x = s->clamp ? held(x, 0.0f, 1.0f) : held(x, NEGATIVE_FAR, FAR);
            on_lines(x, s->lines[0], s->lines[1], s->lines[2], s->lines[3], s->lines[4], s->lines[5], &found);
        } else {
            int place;
            float part;
            points(signal[k], low, scale, least, most, at[3], &place, &part);
            found = looked_up(shaper + 2 * s->shaper_points * k, place, part);
        }
        signal[k] = held(found, 0.0f, top);
    }
}

/* A lattice coordinate as its tetrahedron's weights have it. */
DEVICE double rebuilt(float x, float base, float largest, float least, double low, double middle, double high)
{
    const float within = x - base;
    return (double)base + (within == largest ? high : (within == least ? low : middle));
}

/* Stretched light with its share of the transform itself; `place` are lattice coordinates. */
DEVICE void take_share(const struct setting *s, const double *direct, const float *place, float share, float *light)
{
    float base[3], part[3];
    for (int k = 0; k < 3; k++) {
        const int whole = (int)place[k];
        base[k] = (float)(whole < s->size - 2 ? whole : s->size - 2);
        part[k] = place[k] - base[k];
    }
    const float r = part[0], g = part[1], b = part[2];
    const float largest = most_of(r, most_of(g, b)), least = least_of(r, least_of(g, b));
    const float between = most_of(least_of(r, g), least_of(most_of(r, g), b));
    const double low = (double)least, middle = low + (double)(between - least);
    const double high = middle + (double)(largest - between);
    double exact[3], at[3];
    for (int k = 0; k < 3; k++)
        at[k] = rebuilt(place[k], base[k], largest, least, low, middle, high);
    at_place(at[0], at[1], at[2], direct, (long long)(s->size - 1) * CELL + 1, &exact[0], &exact[1], &exact[2]);
    for (int k = 0; k < 3; k++)
        light[k] = light[k] + share * ((float)exact[k] - light[k]);
}

/* Y Cb Cr of a pixel's signal, which lattice coordinates replace. */
DEVICE void shown(const struct setting *s, const float *curves, const float *shaper, const float *lattice,
                  const float *curve, const double *direct, float *signal, float *found)
{
    int corner[3];
    float weight[4], four[4];
    coordinates_of(s, curves, shaper, signal);
    corners(signal[0], signal[1], signal[2], s->inside, s->steps[0], s->steps[1], s->steps[2], s->whole[0], s->whole[1],
            s->whole[2], &corner[0], &corner[1], &corner[2], &weight[0], &weight[1], &weight[2], &weight[3]);
    const int across = s->whole[0] + s->whole[1] + s->whole[2];
    const float *p0 = lattice + corner[0], *p1 = lattice + corner[1], *p2 = lattice + corner[2], *p3 = p0 + across;
    for (int k = 0; k < 4; k++)
        four[k] = ((weight[0] * p0[k] + weight[1] * p1[k]) + weight[2] * p2[k]) + weight[3] * p3[k];
    if (!s->lit) {
        for (int k = 0; k < 3; k++)
            found[k] = held(four[k], NEGATIVE_FAR, FAR);
        return;
    }
    if (four[3] > 0.0f)
        take_share(s, direct, signal, four[3], four);
    float display[3];
    for (int k = 0; k < 3; k++) {
        const float light = held(four[k], LEAST, MOST);
        float part;
        part_of_piece(light, &part);
        display[k] = looked_up(curve, (bits_of_float(light) >> PIECE_BITS) - FIRST_PIECE, part);
    }
    const float *w = s->weights;
    weighted(display[0], display[1], display[2], w[0], w[1], w[2], w[3], w[4], w[5], w[6], w[7], w[8], &found[0],
             &found[1], &found[2]);
}

/* The dither's seed for one row of one plane. */
DEVICE unsigned mixed(unsigned frame, unsigned row, unsigned plane)
{
    unsigned h = frame * 0x85EBCA6Bu + row * 0xC2B2AE35u;
    h = h + plane * 0x27D4EB2Fu;
    h = (h ^ (h >> 15)) * 0x2C1B3C6Du;
    return h ^ (h >> 12);
}

/* A code: rounded, or dithered by a hash of the seed and the position. */
DEVICE TAKEN code_of(const struct setting *s, float value, float scale, float offset, unsigned column, unsigned seed)
{
    float more = 0.5f;
    if (s->dither) {
        unsigned h = column * 0x9E3779B1u + seed;
        h = (h ^ (h >> 16)) * 0x7FEB352Du;
        h = (h ^ (h >> 15)) * 0x846CA68Bu;
        h = h ^ (h >> 16);
        more = (float)(int)(h >> 8) * 5.9604644775390625e-08f; /* 2^-24 */
    }
    return (TAKEN)(int)held(value * scale + offset + more, 0.0f, s->taken_levels[4]);
}

/* Luma's codes, and chroma at every pixel, in `many` rows from `top` on. `luma` begins at the picture's first sample;
   `counts` are pixels with a component above 1, below 0, outside the span. */
KERNEL grade(const struct setting *s, const GIVEN *first, const GIVEN *second, const GIVEN *third, const float *curves,
             const float *shaper, const float *lattice, const float *curve, const double *direct, TAKEN *luma, float *cb,
             float *cr, int *counts, unsigned frame, int top, int many)
{
    EACH (x, line, s->width, many) {
        const int y = top + line;
        float signal[3], found[3];
        signal_at(s, first, second, third, x, y, &signal[0], &signal[1], &signal[2]);
        const float largest = most_of(signal[0], most_of(signal[1], signal[2]));
        const float least = least_of(signal[0], least_of(signal[1], signal[2]));
        if (largest > 1.0f)
            COUNT(counts[0]);
        if (least < 0.0f)
            COUNT(counts[1]);
        if (largest > s->span[1] || least < s->span[0])
            COUNT(counts[2]);
        shown(s, curves, shaper, lattice, curve, direct, signal, found);
        const unsigned seed = mixed(frame, (unsigned)(s->top + y), 0u);
        luma[(long long)y * s->taken_row + x] =
            code_of(s, found[0], s->taken_levels[0], s->taken_levels[1], (unsigned)(s->left + x), seed);
        cb[(long long)y * s->width + x] = found[1];
        cr[(long long)y * s->width + x] = found[2];
    }
}

/* Two rows of chroma (even, odd) to one at column x: their mean, or for top-left siting [1 2 1]/4 about the even one. */
DEVICE float down(const struct setting *s, const float *values, int row, int x)
{
    if (s->taken_sub_y == 1)
        return values[(long long)row * s->width + x];
    const int y = 2 * row, next = y + 1 < s->height ? y + 1 : y;
    const float even = values[(long long)y * s->width + x], odd = values[(long long)next * s->width + x];
    if (s->taken_siting != 1)
        return 0.5f * (even + odd);
    const float upper = row > 0 ? values[(long long)(y - 1) * s->width + x] : even;
    return 0.5f * even + 0.25f * (upper + odd);
}

/* Chroma at a sample of the output: [1 2 1]/4 on even columns, or the mean of two. */
DEVICE float across(const struct setting *s, const float *values, int row, int k)
{
    if (s->taken_sub_x == 1)
        return down(s, values, row, k);
    const int x = 2 * k;
    const float here = down(s, values, row, x), next = down(s, values, row, x + 1 < s->width ? x + 1 : x);
    if (s->taken_siting == 2)
        return 0.5f * (here + next);
    return 0.5f * here + 0.25f * ((k > 0 ? down(s, values, row, x - 1) : here) + next);
}

/* Chroma's codes. The planes begin at the picture's first samples. */
KERNEL chroma(const struct setting *s, const float *cb, const float *cr, TAKEN *second, TAKEN *third, unsigned frame)
{
    EACH (k, row, (s->width + s->taken_sub_x - 1) / s->taken_sub_x, (s->height + s->taken_sub_y - 1) / s->taken_sub_y) {
        const float scale = s->taken_levels[2], offset = s->taken_levels[3];
        const size_t at = (long long)row * s->taken_chroma_row + k;
        const unsigned column = (unsigned)(s->left / s->taken_sub_x + k);
        const unsigned line = (unsigned)(s->top / s->taken_sub_y + row);
        second[at] = code_of(s, across(s, cb, row, k), scale, offset, column, mixed(frame, line, 1u));
        third[at] = code_of(s, across(s, cr, row, k), scale, offset, column, mixed(frame, line, 2u));
    }
}
