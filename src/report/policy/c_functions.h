/* A step of the interface, as the firmware sees it. */
struct policy_step {
    uint64_t now_ms;       /* by a clock that never goes back; where a pen was used, when it was lifted */
    bool shows_screen;     /* whether a screen was put into memory, were it the same as before */
    bool changes;          /* whether any pixel in memory changes its level */
    enum policy_levels levels; /* of the pixels that change; no matter if none does */
    uint32_t permille;     /* the box around them in thousandths of the panel, rounded down */
    bool by_person;        /* whether a touch, a pen or a key asked for it */
    bool by_pen;           /* whether a pen was used */
    uint16_t screen;       /* one of enum policy_screen */
};

struct policy_state {
    uint32_t updates;      /* shown since the last cleaning */
    bool is_unknown;       /* whether the controller does not know what it shows */
    bool had_person, had_pen;
    uint64_t person_ms, pen_ms;
};

/* At power-up; is_unknown as well each time that the controller has forgotten its picture. */
static inline void policy_begin(struct policy_state *state, bool is_unknown)
{
    state->updates = 0;
    state->is_unknown = is_unknown;
    state->had_person = false;
    state->had_pen = false;
    state->person_ms = 0;
    state->pen_ms = 0;
}

/* After a step that made the controller forget its picture. */
static inline void policy_forgotten(struct policy_state *state)
{
    state->is_unknown = true;
}

static inline bool policy_is_large(const struct policy_step *step)
{
    return step->changes && step->permille >= policy_large_from_permille;
}

static inline bool policy_was_quiet(const struct policy_state *state, const struct policy_step *step)
{
    if (state->had_pen && step->now_ms - state->pen_ms < policy_quiet_ms)
        return false;
    return step->by_person || !state->had_person || step->now_ms - state->person_ms >= policy_quiet_ms;
}

static inline bool policy_cleans_at(const struct policy_cleaning *cleaning, const struct policy_state *state,
                                    const struct policy_step *step)
{
    bool shows = cleaning->screen_count == 0;
    for (uint8_t at = 0; at < cleaning->screen_count; at++)
        shows = shows || (step->shows_screen && cleaning->screens[at] == step->screen);
    return cleaning->pause_ms == 0 && state->updates >= cleaning->after_updates && !state->is_unknown && shows
        && (step->changes || !step->by_person)
        && (!cleaning->only_large || policy_is_large(step))
        && !(step->by_person ? cleaning->not_for_person : cleaning->not_for_device)
        && policy_was_quiet(state, step);
}

static inline void policy_add(struct policy_updates *updates, struct policy_update update)
{
    if (updates->count < POLICY_MOST_UPDATES)
        updates->list[updates->count++] = update;
}

/* What to ask for at a step, in this order; may be nothing. */
static inline struct policy_updates policy_at_step(struct policy_state *state, const struct policy_step *step)
{
    struct policy_updates answer = { 0, { { 0, 0 } } };
    if (state->is_unknown && step->shows_screen) {
        state->is_unknown = false;
        state->updates = 0;
        answer = policy_start;
    } else {
        if (step->changes) {
            state->updates++;
            answer = policy_answers[step->levels][policy_is_large(step) ? 1 : 0][step->by_person ? 0 : 1];
        }
        for (const struct policy_cleaning *cleaning = policy_cleanings; cleaning->after_updates > 0; cleaning++) {
            if (policy_cleans_at(cleaning, state, step)) {
                if (!cleaning->behind_answer)
                    answer.count = 0;
                policy_add(&answer, cleaning->update);
                state->updates = 0;
                break;
            }
        }
    }
    if (step->by_person) {
        state->had_person = true;
        state->person_ms = step->now_ms;
    }
    if (step->by_pen) {
        state->had_pen = true;
        state->pen_ms = step->now_ms;
    }
    return answer;
}

/* The cleaning that is done in the next pause; a null pointer if none is due. */
static inline const struct policy_cleaning *policy_due_in_pause(const struct policy_state *state)
{
    const struct policy_cleaning *first = 0;
    for (const struct policy_cleaning *cleaning = policy_cleanings; cleaning->after_updates > 0; cleaning++) {
        bool is_due = cleaning->pause_ms > 0 && state->updates > 0 && state->updates >= cleaning->after_updates;
        if (is_due && !state->is_unknown && (!first || cleaning->pause_ms < first->pause_ms))
            first = cleaning;
    }
    return first;
}

/* How long nothing must be asked for before policy_in_pause is called; POLICY_NEVER if nothing is due. */
static inline uint32_t policy_pause_ms(const struct policy_state *state)
{
    const struct policy_cleaning *cleaning = policy_due_in_pause(state);
    return cleaning ? cleaning->pause_ms : POLICY_NEVER;
}

/* What to ask for once that time is over. */
static inline struct policy_updates policy_in_pause(struct policy_state *state)
{
    struct policy_updates updates = { 0, { { 0, 0 } } };
    const struct policy_cleaning *cleaning = policy_due_in_pause(state);
    if (cleaning) {
        policy_add(&updates, cleaning->update);
        state->updates = 0;
    }
    return updates;
}
